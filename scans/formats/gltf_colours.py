"""Colours of the points of a glTF: those of the points themselves, else those of the picture laid over them."""

import io
import warnings
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.gltf_accessors import Gltf, numbers, within
from scans.log import FloatArray
from scans.messages import Note

_MOST_PIXELS = 200_000_000
_PICTURES = ("PNG", "JPEG", "WEBP")
_CLAMPED, _MIRRORED = 33071, 33648


class Pictures:
    """The pictures of one glTF, each opened once, and what could not be read of them."""

    def __init__(self, gltf: Gltf) -> None:
        self._gltf = gltf
        self._opened: dict[int, NDArray[np.uint8] | None] = {}
        self._pixels = 0
        self.notes: list[Note] = []

    def colours(self, primitive: dict[str, Any], count: int) -> NDArray[np.uint8] | None:
        """Return sRGB colours (count, 3) of a primitive's points; None where it has none that can be read.

        Point colours of a glTF are linear (glTF 2.0, section 3.9.2), its base colour pictures are sRGB already and
        are taken at the pixel that each point falls into.
        """
        attributes = within(primitive, "attributes")
        if "COLOR_0" in attributes:
            linear = self._gltf.shares(attributes["COLOR_0"], count)
            if linear.shape[1] < 3 or len(linear) != count:
                raise ScanError("the file has other counts of colors than of points; export it again")
            return as_srgb(linear[:, :3])
        if "material" not in primitive:
            return None
        material = within(self._gltf.item("materials", primitive["material"]), "pbrMetallicRoughness")
        use = within(material, "baseColorTexture")
        shift = within(within(use, "extensions"), "KHR_texture_transform")
        name = f"TEXCOORD_{shift.get('texCoord', use.get('texCoord', 0))}"
        if not use or name not in attributes:
            return None
        texture = self._gltf.item("textures", use.get("index"))
        picture = self._picture(texture)
        if picture is None:
            return None
        places = self._gltf.shares(attributes[name], count)
        if places.shape != (count, 2):
            raise ScanError("the file has other counts of places on its picture than of points; export it again")
        with np.errstate(all="ignore"):
            places = np.nan_to_num(_shifted(places, shift), posinf=0.0, neginf=0.0)
        sampler = self._gltf.item("samplers", texture["sampler"]) if "sampler" in texture else {}
        column = _pixels(places[:, 0], picture.shape[1], sampler.get("wrapS"))
        row = _pixels(places[:, 1], picture.shape[0], sampler.get("wrapT"))
        return picture[row, column]

    def _picture(self, texture: dict[str, Any]) -> NDArray[np.uint8] | None:
        webp = within(within(texture, "extensions"), "EXT_texture_webp")
        source = webp.get("source", texture.get("source"))
        if source is None:
            self._note("The picture on the surface is of a kind that is not read: it gives no colors.")
            return None
        image = self._gltf.item("images", source)
        if source not in self._opened:
            self._opened[source] = self._open(image)
        return self._opened[source]

    def _open(self, image: dict[str, Any]) -> NDArray[np.uint8] | None:
        from PIL import Image, UnidentifiedImageError  # noqa: PLC0415 - few scans come with a picture

        if "bufferView" in image:
            buffer, start, end = self._gltf.view(image["bufferView"])
            data: bytes | None = buffer[start:end]
        else:
            data = self._gltf.side_file(image.get("uri"))
        if data is None:
            self._note("The picture on the surface is not with the file: it gives no colors.")
            return None
        try:
            with warnings.catch_warnings():
                # Sizes are checked here, and odd pictures only warned of are read.
                warnings.simplefilter("ignore")
                with Image.open(io.BytesIO(data), formats=_PICTURES) as picture:
                    self._pixels += picture.width * picture.height
                    if self._pixels > _MOST_PIXELS:
                        self._note(f"Pictures on the surface have more than {_MOST_PIXELS} pixels, and are not read.")
                        return None
                    return np.asarray(picture.convert("RGB"), dtype=np.uint8)
        except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError, SyntaxError, MemoryError):
            self._note("The picture on the surface is damaged: it gives no colors.")
        except Exception as error:  # noqa: BLE001 - decoders raise whatever they meet, and the points are whole
            self._note(f"The picture on the surface could not be read ({type(error).__name__}): it gives no colors.")
        return None

    def _note(self, line: str) -> None:
        note = Note("picture_unread", line)
        if note not in self.notes:
            self.notes.append(note)


def as_srgb(linear: FloatArray) -> NDArray[np.uint8]:
    """Return linear shares of red, green and blue as 8-bit sRGB (IEC 61966-2-1)."""
    share = np.clip(np.nan_to_num(linear, nan=0.0, posinf=1.0, neginf=0.0), 0.0, 1.0)
    curved = np.where(share <= 0.0031308, 12.92 * share, 1.055 * share ** (1.0 / 2.4) - 0.055)
    return np.rint(curved * 255.0).astype(np.uint8)


def _shifted(places: FloatArray, shift: dict[str, Any]) -> FloatArray:
    """Return places on a picture (N, 2) scaled, turned and moved as KHR_texture_transform says."""
    if not shift:
        return places
    turn = shift.get("rotation", 0.0)
    turn = float(turn) if isinstance(turn, (int, float)) and abs(turn) < 1e6 else 0.0
    scaled = places * numbers(shift, "scale", (1.0, 1.0))
    cosine, sine = np.cos(turn), np.sin(turn)
    turned = np.stack(
        [cosine * scaled[:, 0] + sine * scaled[:, 1], cosine * scaled[:, 1] - sine * scaled[:, 0]], axis=1
    )
    return turned + numbers(shift, "offset", (0.0, 0.0))


def _pixels(place: FloatArray, size: int, wrap: object) -> NDArray[np.int64]:
    """Return the pixel of each place along one side of a picture."""
    if wrap == _CLAMPED:
        place = np.clip(place, 0.0, 1.0)
    elif wrap == _MIRRORED:
        place = 1.0 - np.abs(place % 2.0 - 1.0)
    else:
        # A place at the very end of the picture is its last pixel, not its first again.
        place = np.where((place == 1.0), 1.0, place % 1.0)
    return np.minimum((place * size).astype(np.int64), size - 1)
