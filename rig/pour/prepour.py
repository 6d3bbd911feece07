"""What cannot be made good once the pour has begun, each step with why; and the cautions."""

from collections.abc import Iterable
from dataclasses import dataclass

from rig.errors import BadInput
from rig.language import join, say


@dataclass(frozen=True)
class Step:
    """A step of the list: a word to tick it by, what to do, and why it can't wait."""

    key: str
    text: str
    why: str


# Common practice, no source; the product's data sheet rules.
STEPS = (
    Step("soft", say("soft spots in the floor found and mended"),
         say("a floor that gives cracks the compound over it")),
    Step("screws", say("loose boards screwed down, no head standing out"),
         say("a squeak is sealed in for good, a head shows through thin cover")),
    Step("dust", say("floor swept and vacuumed, free of grease and old glue"),
         say("compound bonds to dust, not through it")),
    Step("seams", say("seams, knot holes and gaps sealed"),
         say("the mix is thin as water and runs out through any of them")),
    Step("dam", say("edge strip or dam round the walls"),
         say("the floor needs room to move, and the mix creeps under the walls")),
    Step("openings", say("openings, drains and the doorway dammed"),
         say("one open hole empties the front and the bags with it")),
    Step("primer", say("primer dry as its sheet says"),
         say("wet primer or none: pinholes, and no bond")),
    Step("lath", say("reinforcement laid, overlapped and stapled flat, where there is any"),
         say("it floats up in the wet and can't be pressed down again")),
    Step("markers", say("depth markers set and seen from where you stand"),
         say("they are all that tells the depth once the floor is grey")),
    Step("water", say("the water line marked on every bucket, at the sheet's amount"),
         say("one wet batch is a soft spot for good")),
    Step("bags", say("all bags inside, open ones apart, a few over the count"),
         say("the pour can't wait for a trip to the shop")),
    Step("tools", say("mixers run, spare paddle and lead, rake, spiked shoes and roller at hand"),
         say("a mixer that fails mid-pour kills the edge")),
    Step("power", say("mixers on a protected circuit, leads off the floor"),
         say("water and current meet here")),
    Step("crew", say("everyone knows their role, the strips and the way out"),
         say("nobody can be told twice while the clock runs")),
    Step("exit", say("the way out is clear, and other doors are shut and marked"),
         say("one footprint can't be mended")),
    Step("temperature",
         say("floor, air and water within the sheet's range, sun and draught kept off"),
         say("warmth halves the working time, draught skins the front over")),
)  # fmt: skip

CAUTIONS = (
    say(
        "Silica dust: mask and extraction where bags are opened, as the sheet and local rules ask."
    ),
    say("The mix is caustic: gloves, eye protection, kneeling boards; rinse skin at once."),
    say("Mixers and leads near water: a protected circuit, leads off the floor, dry hands."),
    say(
        "Bags stacked in one place load the joists more than the floor will ever be: spread "
        "them; whether the structure carries them is for a licensed professional."
    ),
    say("Ventilate for breath, not across the wet floor: draught skins the front over."),
    say("The product's data sheet and local rules rule over anything said here."),
)


def step_called(word: str) -> Step:
    """Return the step that a word names, or refuse it."""
    for step in STEPS:
        if step.key == word.strip().lower():
            return step
    raise BadInput(
        say(
            "There is no step {word!r} in the list before the pour: {steps}.",
            word=word,
            steps=join(", ", (step.key for step in STEPS)),
        )
    )


def unticked(ticked: Iterable[str]) -> list[Step]:
    """Return the steps that are not ticked, in their order."""
    done = set(ticked)
    return [step for step in STEPS if step.key not in done]
