"""What each word of the trade means, for somebody new to it; a page explains a word where it stands."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Word:
    """A word and its meaning. key : how pages name it."""

    key: str
    term: str
    meaning: str


_TOLD = """
butt-end = butt end
    The end of the log that was nearest the stump, usually the thicker one. The other is the top end.
roll = roll
    How far the log is turned about its length from how it lay when it was measured. Clockwise is as you see it,
    standing at the butt end.
tilt = tilt
    The slope of the log along the bed, when one end is raised on shims.
lay = lay
    How the log lies on the bed: its roll and its tilt.
stretch = stretch
    The length of a long log that goes on the bed, crosscut at both ends.
pass = pass
    One travel of the blade through the log.
reach = reach
    How far across the log the blade spans in a pass, bark and gaps included.
first-face = first face
    The flat face that the first pass opens. If it comes out as large as promised, the log is what was measured.
blade-at = blade at
    What the mill's height scale shows when the blade stands right for the pass.
layer = layer
    The wood between two neighbouring passes. Slabs have the numbers of their layers.
slab = slab
    The part of a layer that is wide and long enough for your buyers, cut to its length.
waste = waste
    What a layer holds beside the slabs: too narrow or too short to sell. Where it says "unless it makes 8/4", it
    may give a slab if the log turns out larger.
offcut = offcut
    The rounded piece above the first face, and the last piece left on the bed.
flip = flip
    Turning the half-sawn log over onto its last sawn face. Heights start anew after it.
green = green thickness
    How thick the slab is sawn, wet. It shrinks in drying and loses more in flattening.
quarters = quarters
    The thickness it is sold as, in quarters of an inch: 8/4 is 2 inches.
kerf = kerf
    The wood that the blade turns to sawdust: as thick as the cut is wide.
heart = heart
    The pith and the wood close round it. It tends to crack, so buyers pay less for it.
pith = pith
    The very middle of the growth rings: a dark dot on the end of the log.
fork = fork
    Where the stem divides into limbs.
feather = feather
    The figured wood under a fork, shaped like a plume. Some buyers pay more for it.
mark = mark
    A place on the log that you point out: metal, a knot, rot, a crack, or the pith on an end.
keep-out = keep-out
    How near no pass comes to metal that you marked.
throat = throat
    The widest cut that fits between the blade guides.
throat-depth = throat depth
    The most wood that fits above the blade, under the head.
bunk = bunk
    A cross-member of the bed that the log rests on. Bunk 1 is nearest the butt end.
shim = shim
    A block or wedge that lifts or steadies the log on a bunk.
scale-zero = scale zero
    Where the mill's height scale reads 0, above the tops of the bunks. 0 if it reads 0 with the blade level
    with the bunks.
height-step = height step
    The finest step to which you can set the blade's height.
plain-way = plain way
    What one would do without a plan: saw the log as it lies, all in one thickness.
hearts-level = hearts level
    The lay that puts the hearts of the butt and of both limbs at one height: the usual way to the best feather.
my-way = my way
    A roll, shims and blade heights that you choose yourself, priced like any plan.
net = net
    What the slabs sell for, less what sawing and drying them costs. What the log cost is not taken off. In the
    mean: on average over the logs that this one may turn out to be. As given: on the log exactly as measured.
gap = gap
    How much better another lay could still be, at the very most: proven, not guessed.
bound = bound
    No lay can bring more than this: proven, not guessed.
break-even = break-even price
    The most that the log may cost before nothing is left.
board-foot = board foot
    A measure of wood for sale: a foot by a foot by an inch, at the thickness it is sold as.
recovery = recovery
    The share of the log's wood that ends up in slabs.
lift-mass = lift mass
    1.25 times the usual mass of such wood: choose your gear by this, as wet wood differs from log to log.
end-trim = end trim
    What is lost at each end of the log: checked or dirty wood.
girth = girth
    The way round the log, with a tape.
width-factor = width factor
    Wide slabs bring more for each board foot: the price is multiplied by this number, on straight lines between
    the widths you give.
allowance = flattening allowance
    What flattening takes off both faces together once the slab is dry.
doubt = doubt
    How far the numbers may be off, as a scan and a hand are never exact.
bow = bow
    A bend along the log: stretch a string along the hollow side, and measure the widest gap.
limb = limb
    What the fork divides into.
seen = seen and guessed
    The part of the surface that the scan saw, and the part that was guessed from it.
clock = where on the girth
    An angle seen standing at the butt end: 0 is up, 90 to the right, 180 down, 270 to the left, as the log lay
    when it was measured.
"""
"""A word a block: how pages name it, the word, and below it what it means."""


def _words() -> dict[str, Word]:
    found: dict[str, Word] = {}
    key = term = ""
    for line in _TOLD.strip().splitlines():
        if not line.startswith(" "):
            key, _, term = line.partition(" = ")
        meaning = f"{found[key].meaning} {line.strip()}" if key in found else ""
        found[key] = Word(key, term, meaning.strip())
    return found


WORDS = _words()
