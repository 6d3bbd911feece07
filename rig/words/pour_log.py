"""What the live log of a pour says, each sentence once."""

from collections.abc import Sequence
from typing import Literal

from rig.units import Units
from rig.words import join, put, say, say_many
from rig.words.clock import minutes

EdgeLevel = Literal["dead", "soon", "pace"]

ALL_POURED = say("All planned batches are poured: tell the front, then stop.")
BAGS_USED_UP = say("By the count the bags on site are used up: is the count right?")
COVERED = say("The whole floor is covered: say stop to end the pour.")
NO_BATCH_YET = say("No batch is poured yet: log the batch first.")
NOTHING_TO_UNDO = say("There is nothing to undo: the log is at its start.")


def mended(batches: int, undone: int) -> str:
    """Say that the record of a pour lacked what its log holds, and that it has it now."""
    if batches:
        return say_many(
            "The record of the pour lacked {count} batch that its log holds (a floor-rig was "
            "killed between the two): it is mended.",
            "The record of the pour lacked {count} batches that its log holds (a floor-rig was "
            "killed between the two): it is mended.",
            batches,
        )
    if undone:
        return say_many(
            "The record of the pour held {count} batch that its log took back (a floor-rig was "
            "killed between the two): it is mended.",
            "The record of the pour held {count} batches that its log took back (a floor-rig was "
            "killed between the two): it is mended.",
            undone,
        )
    return say(
        "The record of the pour lacked what its log holds (a floor-rig was killed between the "
        "two): it is mended."
    )


def resumed(batches: int, since_s: float) -> str:
    """Say after how much the log goes on."""
    return say_many(
        "Going on after {count} batch, the last {since} ago.",
        "Going on after {count} batches, the last {since} ago.",
        batches,
        since=minutes(since_s),
    )


def still_to_tick(steps: Sequence[tuple[str, str, str]]) -> str:
    """Say which steps before the pour are not ticked: a line each of key, text and why."""
    head = say_many(
        "{count} step before the pour is not ticked (say tick and the word):",
        "{count} steps before the pour are not ticked (say tick and the word):",
        len(steps),
    )
    lines = (put("  {key}: {text}; {why}", key=k, text=text, why=why) for k, text, why in steps)
    return join("\n", [head, *lines])


def left_to_tick(count: int) -> str:
    """Say how many steps before the pour are not ticked, where a list shows which."""
    return say_many(
        "{count} step before the pour is not ticked yet.",
        "{count} steps before the pour are not ticked yet.",
        count,
    )


def pouring_unticked(keys: Sequence[str]) -> str:
    """Say that the pour begins with steps left."""
    return say("Pouring with steps unticked: {steps}.", steps=join(", ", keys))


def ticked(step: str, left: int) -> str:
    """Say that a step is done."""
    if not left:
        return say("{step} ticked. The list is done.", step=step)
    return say_many(
        "{step} ticked. {count} step left.", "{step} ticked. {count} steps left.", left, step=step
    )


def next_batch(n: int, of: int, strip: int, where: str) -> str:
    """Say which batch comes next and where it goes."""
    return say("batch {n} of {of}, strip {strip}: {where}", n=n, of=of, strip=strip, where=where)


def poured(n: int, bags_left: float, should: int, strips: int) -> str:
    """Say that a batch is on the floor, and where the front should be."""
    front = say("The front should be in strip {should} of {of}.", should=should, of=strips)
    if bags_left < 0:
        return say("Batch {n} poured; no bags left by the count. {front}", n=n, front=front)
    return say_many(
        "Batch {n} poured; {count} bag left. {front}",
        "Batch {n} poured; {count} bags left. {front}",
        bags_left,
        n=n,
        front=front,
    )


def two_batches(apart_s: float) -> str:
    """Ask whether two batches at once were two."""
    return say(
        "Two batches within {apart}: the second is not counted. If there were two, say yes.",
        apart=minutes(max(1.0, apart_s)),
    )


def too_much(bags: float) -> str:
    """Say that more went in than the floor should take."""
    return say(
        "{bags:g} bags are more than the whole floor should take: look for a place where it runs "
        "away, or a batch logged too often (undo).",
        bags=bags,
    )


def no_such_front(told: str, strips: int, markers: Sequence[str]) -> str:
    """Say which fronts there are."""
    told = told or "(nothing)"
    if not markers:
        return say(
            "There is no front {told}: there are strips 1 to {strips}.", told=told, strips=strips
        )
    return say(
        "There is no front {told}: there are strips 1 to {strips} and the markers {markers}.",
        told=told,
        strips=strips,
        markers=join(", ", markers),
    )


def front_back(marker: str | None, strip: int, before: int, passed_over: Sequence[str]) -> str:
    """Ask about a front behind the one that was told, by its marker or by its strip."""
    name = say("Strip {strip}", strip=strip)
    if marker is not None:
        name = say("{marker} in strip {strip}", marker=marker, strip=strip)
    text = say(
        "{name} lies behind the front, which was told at strip {before}: nothing is changed. If "
        "the front is at strip {strip} and strip {before} was a slip, say yes.",
        name=name,
        strip=strip,
        before=before,
    )
    if not passed_over:
        return text
    covered = say("If {markers} got covered, say front with each.", markers=join(", ", passed_over))
    return join(" ", [text, covered])


def front_impossible(strip: int, should: int, bags: float) -> str:
    """Ask about a front that the bags logged cannot have reached."""
    return say_many(
        "Strip {strip} is far ahead of what {count} bag covers: that reaches strip {should}, and "
        "nothing is changed. Log the batches that were missed (batch), then say the front again; "
        "if the front is at strip {strip} all the same, say yes.",
        "Strip {strip} is far ahead of what {count} bags cover: they reach strip {should}, and "
        "nothing is changed. Log the batches that were missed (batch), then say the front again; "
        "if the front is at strip {strip} all the same, say yes.",
        bags,
        strip=strip,
        should=should,
    )


def front_at(strip: int, strips: int, covered: Sequence[str]) -> str:
    """Say where the front is, and which markers it covers."""
    if not covered:
        return say("Front at strip {strip} of {of}.", strip=strip, of=strips)
    return say(
        "Front at strip {strip} of {of}; {markers} covered.",
        strip=strip,
        of=strips,
        markers=join(", ", covered),
    )


def dry(markers: Sequence[str]) -> str:
    """Say which markers behind the front nobody has ticked."""
    return say(
        "Behind the front and not ticked: {markers}. Look whether compound covers them, and say "
        "front with each that it does.",
        markers=join(", ", markers),
    )


def unlikely_front(strip: int, ahead: bool, bags: float, expected: int, missed: int) -> str:
    """Say that a front does not fit the count of bags; `missed` counts where it is ahead."""
    if not ahead:
        return say_many(
            "Strip {strip} is far behind what {count} bag should cover (strip {expected}): undo "
            "if it was a slip, else check the count.",
            "Strip {strip} is far behind what {count} bags should cover (strip {expected}): undo "
            "if it was a slip, else check the count.",
            bags,
            strip=strip,
            expected=expected,
        )
    text = say_many(
        "Strip {strip} is far ahead of what {count} bag should cover (strip {expected}): undo if "
        "it was a slip, else check the count.",
        "Strip {strip} is far ahead of what {count} bags should cover (strip {expected}): undo if "
        "it was a slip, else check the count.",
        bags,
        strip=strip,
        expected=expected,
    )
    asked = say_many(
        "Were about {count} bag poured and not logged?",
        "Were about {count} bags poured and not logged?",
        missed,
    )
    return join(" ", [text, asked])


def cannot_have_come(bags: float) -> str:
    """Say that a front tells nothing, and what to do."""
    return say_many(
        "{count} bag cannot have come so far, so this front tells nothing of what the floor takes. "
        "Undo it, log the batches that were missed, then say front again. Until then send no bags "
        "away.",
        "{count} bags cannot have come so far, so this front tells nothing of what the floor "
        "takes. Undo it, log the batches that were missed, then say front again. Until then send "
        "no bags away.",
        bags,
    )


def a_bag_makes(yield_l: float | None, doubt_l: float, units: Units) -> str:
    """Say what a bag makes, by now; None where that is not known."""
    if yield_l is None:
        return say("What a bag makes is not known yet")
    made, doubt = units.volume(yield_l), units.volume(doubt_l)
    return say("A bag makes {made} (± {doubt})", made=made, doubt=doubt)


def a_bag_made(yield_l: float | None, doubt_l: float, units: Units) -> str:
    """Say what a bag made in the end; None where that is not known."""
    if yield_l is None:
        return say("What a bag made is not known")
    made, doubt = units.volume(yield_l), units.volume(doubt_l)
    return say("A bag made {made} (± {doubt})", made=made, doubt=doubt)


def floor_took(bag: str, bags: float) -> str:
    """Say what the covered floor took."""
    return say_many(
        "{bag}; the floor took {count} bag.", "{bag}; the floor took {count} bags.", bags, bag=bag
    )


def floor_takes(bag: str, need: float, need_p95: float) -> str:
    """Say what the whole floor takes, as it looks now."""
    return say(
        "{bag}; the floor takes {need:.1f} bags (95 %: up to {most:.1f}).",
        bag=bag,
        need=need,
        most=need_p95,
    )


def bags_short(short: int, stop: int | None) -> str:
    """Say that the bags do not reach, and where to stop: at a strip, or None now."""
    if stop is None:
        return say_many(
            "At this rate you are {count} bag short: stop now or send for more now.",
            "At this rate you are {count} bags short: stop now or send for more now.",
            short,
        )
    return say_many(
        "At this rate you are {count} bag short: stop at strip {stop} or send for more now.",
        "At this rate you are {count} bags short: stop at strip {stop} or send for more now.",
        short,
        stop=stop,
    )


def bags_may_not_reach(chance: float, more: int, stop: int | None) -> str:
    """Say that the bags may not reach, and where to stop: at a strip, or None now."""
    if stop is None:
        return say(
            "The bags may not reach ({chance:.0%}): have {more} more at hand, or be ready to stop "
            "now.",
            chance=chance,
            more=more,
        )
    return say(
        "The bags may not reach ({chance:.0%}): have {more} more at hand, or be ready to stop at "
        "strip {stop}.",
        chance=chance,
        more=more,
        stop=stop,
    )


def bags_reach(over: float) -> str:
    """Say that the bags reach."""
    return say("The bags reach; about {over:.0f} stay over.", over=over)


def stopped(batches: int, bags: float, share: float) -> str:
    """Say what went in."""
    count = say_many("{count} bag", "{count} bags", bags)
    return say_many(
        "Stopped after {count} batch, {bags}; {share:.0%} told covered.",
        "Stopped after {count} batches, {bags}; {share:.0%} told covered.",
        batches,
        bags=count,
        share=share,
    )


def ended_early(left: int, planned: int, bags: float, first: int, last: int) -> str:
    """Say what a stop leaves unpoured: batches, and strips from the first to the last."""
    count = say_many("{count} bag", "{count} bags", bags)
    not_poured = say_many(
        "Ended early: {count} of {planned} planned batches ({bags}) is not poured.",
        "Ended early: {count} of {planned} planned batches ({bags}) are not poured.",
        left,
        planned=planned,
        bags=count,
    )
    not_covered = (
        say("Strip {strip} is not told as covered.", strip=last)
        if first == last
        else say("Strips {first} to {last} are not told as covered.", first=first, last=last)
    )
    slip = say(
        "If it was a slip, pour on at once and start rig pour run again: it counts from batch 1 "
        "and no longer knows how old the edge is."
    )
    return join(" ", [not_poured, not_covered, slip])


def edges(ages_s: Sequence[tuple[int, float]], left_s: float) -> str:
    """Say how old the wet edge of each strip is, and what is left of the oldest."""
    each = join(
        ", ",
        (say("strip {strip} is {age} old", strip=strip, age=minutes(age)) for strip, age in ages_s),
    )
    return say("Edge: {each}; {left} left.", each=each, left=minutes(max(0.0, left_s)))


def edge(level: EdgeLevel, strip: int, age_s: float, working_s: float, then_s: float) -> str:
    """Warn of an edge: of its age, or of that which it will have by the present pace."""
    match level:
        case "dead":
            return say(
                "The edge in strip {strip} is {age} old, past the working time: don't pour against "
                "it wet, set a stop there and let it set.",
                strip=strip,
                age=minutes(age_s),
            )
        case "soon":
            return say(
                "The edge in strip {strip} is {age} old: close it within {left}.",
                strip=strip,
                age=minutes(age_s),
                left=minutes(working_s - age_s),
            )
        case "pace":
            return say(
                "At this pace the edge in strip {strip} is {then} old when you get to it, over the "
                "{keeps} that it keeps: quicken up, narrow the strip, or set a stop.",
                strip=strip,
                then=minutes(then_s),
                keeps=minutes(working_s),
            )


def old_entry(age_s: float) -> str:
    """Say that the last entry of the log is from another day."""
    return say(
        "The last entry is {age} old: if this is a new pour, make a new plan for it (rig pour "
        "plan).",
        age=minutes(age_s),
    )


ENDED_BEFORE = say(
    "The pour of this plan was ended with stop: what is logged now counts as another one. "
    "For a new pour make a new plan first (rig pour plan)."
)


def not_safe(advice: str) -> str:
    """Say that the plan called the pour unsafe."""
    return say("The plan says this pour is not safe. {advice}", advice=advice)
