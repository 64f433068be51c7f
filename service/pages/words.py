"""What each word of the trade means, for somebody new to it; a page explains a word where it stands.

This is the one source of these words: `docs/words.md` is written from it, and held equal to it by a test.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Word:
    """A word and its meaning.

    key : the word of code and documents, by which pages name it. term : what a user reads.
    """

    key: str
    term: str
    meaning: str


_TOLD = """
butt-end = butt end
    The end of the log that was nearest the stump, usually the thicker one. The other end is the top end.
stem = trunk
    The main part of the log, below the crotch if it has one.
roll = roll
    How far you turn the log on the bed, from how it was lying when you measured it. Clockwise and counterclockwise
    are as you see it looking at the butt.
tilt = tilt
    How far the log slopes along the bed when one end sits on shims.
lay = setup
    How the log sits on the bed: its roll and its tilt.
stretch = part on the bed
    The part of a long log that goes on the bed. You buck the log on each side of it first.
buck = buck
    To cut a log across, to length, before it goes on the bed.
pass = cut
    One trip of the blade through the log: one pass.
reach = reach
    How far across the log the blade spans in a cut, bark and gaps included.
first-face = first face
    The flat face that the first cut opens. Measure it: if it comes out as planned, the log is what you measured.
blade-at = blade at
    What your mill's height scale reads when the blade is set for the cut.
layer = layer
    The wood between two cuts. A slab has the number of its layer.
slab = slab
    The part of a layer that is wide and long enough for your buyers, cut to its length.
waste = no sale
    The part of a layer that is too narrow or too short for your buyers. It may still make a slab if the log is bigger
    than you measured.
offcut = round top
    The round piece that the first cut takes off. What is left on the bed at the end is the last piece.
flip = flip
    Turning the half-sawn log over onto its last sawn face. The blade heights start again from the top after it.
green = saw thickness (green)
    How thick you saw the slab, wet. It shrinks as it dries and loses more when you flatten it.
quarters = quarters
    The thickness a slab is sold as, in quarters of an inch: 8/4 is 2 inches.
kerf = kerf
    The wood that the blade turns to sawdust. It is as thick as the cut is wide.
heart = heart
    The pith and the wood close around it. It tends to crack, so buyers pay less for it.
pith = pith
    The very middle of the growth rings: a dark dot on the end of the log.
fork = crotch
    Where the trunk divides into limbs.
feather = crotch figure (feather)
    The figured wood under a crotch, shaped like a feather. Some buyers pay more for it.
limb = limb
    One of the branches that the trunk divides into at a crotch.
mark = mark
    A place on the log that you point out: metal, a knot, rot, a crack, a bark pocket, or the pith on an end.
keep-out = distance from metal
    The blade stays at least this far from metal that you marked.
throat = widest cut
    The widest cut that fits between the blade guides: the throat.
throat-depth = most wood above the blade
    How much wood fits above the blade, under the head: the deepest cut you can take.
bunk = bunk
    A crosspiece of the bed that the log rests on. Bunk 1 is nearest the butt end.
support = support
    Where the log is held on a bunk: it rests on the bunk itself, on a shim, or on blocks.
shim = shim
    A wedge or thin block that lifts or steadies the log on a bunk.
prop = blocks
    A stack of solid blocks on a bunk, under a limb or an end that lies too high for a shim.
stands = stands by
    How far the log is from rolling off its supports: the least distance, before any cut and after each, from its center
    of weight to the edge of what holds it. The log turns over once its weight is past that edge.
scale-zero = scale zero
    How high above the tops of the bunks the blade is when your mill's height scale reads 0. Write 0 if the scale reads
    0 with the blade level with the bunks.
height-step = height step
    The smallest step you can set the blade height to.
plain-way = straight through
    Sawing the log without a plan: as it lies, a crotch log with its limbs flat, all in one thickness. Also called live
    or through-and-through sawing.
hearts-level = pith level
    The setup with the piths of the butt and of both limbs at the same height. It usually gives the best crotch figure.
my-way = your own way
    A roll, shims, and blade heights that you choose yourself. It is priced like any plan.
net = net
    What the slabs sell for, less what it costs to saw and dry them. What you paid for the log is not taken off.
    Average net is what you clear, on average, over all the versions of your log. Net as measured is for the log exactly
    as you measured it.
gap = most that is possible
    How much more the best possible setup could net. This is worked out, not guessed: no setup can do better than that.
break-even = most you can pay
    What you can pay for the log and still not lose money: the break-even price.
board-foot = board foot
    A measure of wood for sale: one foot by one foot by one inch, at the thickness it is sold as.
recovery = recovery
    How much of the log's wood ends up in slabs.
lift-mass = lift at
    The lift weight: the average weight for the species and 25% more, because green wood varies from log to log. Rig for
    this weight.
end-trim = end trim
    What you lose at each end of the log: checked or dirty wood.
girth = girth
    The distance around the log, measured with a tape.
width-factor = width factor
    Wide slabs bring more for each board foot. The price is multiplied by this number. Between two widths it rises
    evenly.
allowance = flattening allowance
    How much thickness flattening takes off, both faces together, once the slab is dry.
doubt = 4 times out of 5
    How often a number should land in the range shown. No scan, tape, or setup is exact, so every number may be off.
possible-log = version of your log
    A log a little different from yours, but inside what you measured. Plans are priced on many of them.
brings-most = best pick
    How often this plan beats the others shown. Plans that are nearly the same split the vote.
bow = sweep
    A bend along the log. Stretch a string along the hollow side, end to end, and measure the widest gap.
seen = seen and guessed
    Seen is the part of the surface that the scan saw. Guessed is the part that was worked out from it.
tally = how buyers measure
    A live-edge slab is wider on one face than on the other, and shrinks as it dries. Ask your buyer how the width is
    measured: it can change what you are paid by a tenth or more. If you don't know, leave it as it stands.
tally-moisture = green or dry width
    A slab loses 3 to 8% of its width in drying. If your buyer measures it when you sell it, dry, choose dry.
pair = pair
    Two slabs sawn one after the other and sold together, as for a bookmatched table top. Write what buyers pay on top
    of both prices.
slab-with-heart = whole slab with pith in it
    Where the pith runs along inside a slab, the slab tends to split. This share of its whole price is lost if the pith
    is inside it for more than a quarter of its length. We then look whether it brings more ripped in two.
months = months until you sell
    From the saw to the buyer's money: air-drying, kiln, and finding a buyer. Thick slabs take much longer than thin
    ones.
lost = lost in drying
    How many slabs of a hundred split, warp, or rot in drying so that nobody buys them.
yearly-rate = interest while slabs dry, a year
    Money that comes in a year is worth less than money today. If you pay 8% a year on a loan, or could earn 8% with it,
    write 8.
thicknesses = different thicknesses
    Every thickness is a stack of its own, and dries at its own pace. Write the most that you want from one log, or
    leave it empty for any number.
blade-cost = blade cost
    What a blade costs, with its sharpenings, shared over the wood that it saws. A $30 blade that saws 200 square feet
    before it is used up costs 0.15 a square foot.
metal-strike = logs with metal that you hit
    How many logs of a hundred hide a nail or wire that ruins a blade. Yard trees have more of it than woods.
clock = degrees around the log
    An angle looking at the butt: 0 is straight up, 90 is right, 180 is down, 270 is left. Up is as the log was
    lying when you measured it.
"""
"""A word a block: the word of code and documents, what a user reads, and below them what it means."""


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
