"""What is said of the plan of a pour: assumptions, warnings, advice, and what comes after."""

from collections.abc import Mapping, Sequence

from rig.units import M2_PER_FT2, Units
from rig.words import join, numeral, put, say, say_many
from rig.words.clock import minutes

FEW_STEPS = 4
CAUTION = say(
    "Caution: silica dust, caustic mix, current near water; the sheet and local rules rule."
)
STALE = say("This pour plan is stale: rig plan was run since.")
NOT_PLANNED = say("Not planned yet (rig pour plan).")
NOTHING_POURED = say("Nothing has been poured yet.")
NO_SLAKING = say("No slaking (rest after mixing): the sheet rules (--slake-time).")
MIX_TOO_LONG = say("Mixing takes as long as the mix keeps: check both times on the sheet.")
GOES_ON = say("A pour is under way: it goes on by the plan that it was begun with.")
NEXT_LIST = say("Next: rig pour list, then rig pour run")
NEXT_PLAN_AGAIN = say("Next: change what holds it up, then rig pour plan again")
LEFT = say("Left with all kept: rig pour run goes on. Say stop to end the pour.")

# --- what a plan assumes ------------------------------------------------------------------------


def times(
    units: Units,
    *,
    water_s: float,
    powder_s: float,
    load_s: float,
    pour_s: float,
    rinse_s: float,
    walk_mm_s: float,
    spread_s_m2: float,
    deair_s_m2: float,
    by_hand: float,
    by_clock: float,
) -> str:
    """Say how long each step is taken to last; it may be timed instead."""
    area_m2 = 1.0 if units.is_metric else 10.0 * M2_PER_FT2
    return say(
        "Times: water {water} and powder {powder} a bag, lifting {load}, pouring {pour}, rinsing "
        "{rinse} a batch, walking {walk}, spreading {spread} and taking out air {deair} for "
        "{area}; what hands do spreads by {by_hand:.0%}, timed mixing by {by_clock:.0%} (our own "
        "figures, no source: time your crew).",
        water=minutes(water_s),
        powder=minutes(powder_s),
        load=minutes(load_s),
        pour=minutes(pour_s),
        rinse=minutes(rinse_s),
        walk=units.speed(walk_mm_s),
        spread=minutes(spread_s_m2 * area_m2),
        deair=minutes(deair_s_m2 * area_m2),
        area=units.area(area_m2),
        by_hand=by_hand,
        by_clock=by_clock,
    )


def edge_counts(working_s: float, mix_s: float) -> str:
    """Say from when to when an edge's age counts."""
    return say(
        "The edge's age counts from water on the powder until the next batch is spread against it; "
        "working time {working}, mixing {mix} as given.",
        working=minutes(working_s),
        mix=minutes(mix_s),
    )


def batch_size(bags: int, mix_way_mm: float, units: Units) -> str:
    """Say how large a batch is and where it is mixed."""
    return say_many(
        "{count} bag a batch; the mixers stand {way} from the exit, outside.",
        "{count} bags a batch; the mixers stand {way} from the exit, outside.",
        bags,
        way=units.place(mix_way_mm),
    )


def strips_chosen(strip_mm: float, units: Units) -> str:
    """Say how deep the strips were chosen."""
    return say(
        "Strips {depth} deep, chosen so that the edge stays young (--strip).",
        depth=units.place(strip_mm),
    )


def buckets_chosen(buckets: int) -> str:
    """Say how many buckets were chosen."""
    return say_many(
        "{count} bucket in use, no more: a batch that waits grows old (--buckets).",
        "{count} buckets in use, no more: a batch that waits grows old (--buckets).",
        buckets,
    )


def learnt(interval_s: float, planned_s: float, yield_l: float | None, units: Units) -> str:
    """Say what this crew's last pour taught; the yield is None where it stayed unknown."""
    told = {"interval": minutes(interval_s), "planned": minutes(planned_s)}
    if yield_l is None:
        return say(
            "From this crew's last pour: a batch every {interval} (planned {planned}); what a bag "
            "made was not known.",
            **told,
        )
    return say(
        "From this crew's last pour: a batch every {interval} (planned {planned}), {made} a bag "
        "on the floor.",
        made=units.volume(yield_l),
        **told,
    )


def pace_learnt(pours: int, hands: float, doubt: float) -> str:
    """Say how a crew's hands stand to the plan's figures, as so many pours tell."""
    return say_many(
        "{count} pour tells that its hands take {hands} times these figures, give or take "
        "{doubt:.0%}; timed mixing is taken apart.",
        "{count} pours tell that its hands take {hands} times these figures, give or take "
        "{doubt:.0%}; timed mixing is taken apart.",
        pours,
        hands=numeral(hands, ".2f"),
        doubt=2.0 * doubt,
    )


def yield_by_past(made_l: float, doubt: float, crew: int, product: int, units: Units) -> str:
    """Say what a bag makes by the past of crew and product."""
    return say(
        "By the past, {crew} of this crew and {product} with this product, a bag makes {made} on "
        "the floor, give or take {doubt:.0%}.",
        crew=say_many("{count} job", "{count} jobs", crew),
        product=say_many("{count} job", "{count} jobs", product),
        made=units.volume(made_l),
        doubt=2.0 * doubt,
    )


def pace_by_past(hands: float, doubt: float, pours: int, others: int) -> str:
    """Say how a crew's hands stand to the plan's figures by the past."""
    return say(
        "By the past, {pours} of this crew and {others} of others, its hands take {hands} times "
        "these figures, give or take {doubt:.0%}.",
        pours=say_many("{count} pour", "{count} pours", pours),
        others=numeral(others, "d"),
        hands=numeral(hands, ".2f"),
        doubt=2.0 * doubt,
    )


def pace_doubted(doubt: float) -> str:
    """Say that the pace of the crew is itself in doubt, and counts."""
    return say(
        "How fast this crew's hands are is taken as known to within {doubt:.0%}, and the chance of "
        "a dead edge counts that; each pour that is logged narrows it.",
        doubt=2.0 * doubt,
    )


# --- what it warns of ---------------------------------------------------------------------------


def too_deep(over_mm: float, limit_mm: float, whose: str, units: Units) -> str:
    """Say where one pour takes more than `whose` ("the job", "the sheet") allows in one go."""
    return say(
        "The deepest place takes {over} more than the {limit} that {whose} allows in one go: pour "
        "in lifts, each planned by itself (rig pour plan --lift 1), or fill the deep places first, "
        "let them set and survey again.",
        over=units.off(over_mm),
        limit=units.length(limit_mm),
        whose=whose,
    )


def before_lift(lift: int, lifts: int, walk_on_s: float | None) -> list[str]:
    """Say what lies between a lift and the one before it."""
    if lift < 2:
        return []
    if walk_on_s is None:
        return [
            say(
                "Lift {lift} of {lifts} goes on only when the one before bears walking on, as the "
                "product's sheet has it, and is primed again.",
                lift=lift,
                lifts=lifts,
            )
        ]
    return [
        say(
            "Lift {lift} of {lifts} goes on no sooner than {wait} after the one before (walk-on, "
            "by the sheet), and on primer again.",
            lift=lift,
            lifts=lifts,
            wait=minutes(walk_on_s),
        )
    ]


def after_lift(lift: int, walk_on: str | None) -> list[str]:
    """Say what comes between a lift and the next."""
    if walk_on is None:
        first = say(
            "Lift {next} goes on once this one bears walking on, as its sheet has it, on primer "
            "again.",
            next=lift + 1,
        )
    else:
        first = say(
            "Lift {next} goes on from {walk_on} (walk-on, the sheet's time), on primer again.",
            next=lift + 1,
            walk_on=walk_on,
        )
    return [
        first,
        say("Now: rinse mixers, buckets, rake and roller before they set."),
        say(
            "Then: rig markers --lift {next}, rig set --lift {next}, rig pour plan --lift {next}",
            next=lift + 1,
        ),
    ]


def too_early(lift: int, left_s: float) -> str:
    """Say that the lift below has not had its time."""
    return say(
        "The lift under lift {lift} has not had its time by the sheet: wait {left} more.",
        lift=lift,
        left=minutes(left_s),
    )


def other_lift(planned: int | None, asked: int) -> str:
    """Say that the plan of the pour is for another lift."""
    if planned is None:
        return say(
            "The plan of the pour is for all lifts at once. Make one for this: rig pour plan "
            "--lift {asked}",
            asked=asked,
        )
    return say(
        "The plan of the pour is for lift {planned}. Make one for this: rig pour plan --lift "
        "{asked}",
        planned=planned,
        asked=asked,
    )


def edge_dies(chance: float) -> str:
    """Say how often the wet edge sets before it is met, as a helper counts it."""
    times = 100.0 * chance
    if times < 0.05:
        return say("the edge never set too soon")
    if times < 0.95:
        return say("the edge set too soon in fewer than 1 of 100")
    return say("the edge set too soon in {times:.0f} of 100", times=times)


def bucket_too_old(age_s: float, pot_life_s: float) -> str:
    """Say that a batch may be over the pot life in its bucket."""
    return say(
        "A batch may be {age} old in its bucket, over the pot life of {life}: mix no faster than "
        "you pour, use fewer buckets.",
        age=minutes(age_s),
        life=minutes(pot_life_s),
    )


def idle_mixers(idle: int, mixers: int) -> str:
    """Say that there are more mixers than hands for them."""
    return say(
        "{idle} of {mixers} mixers would stand idle with this crew.", idle=idle, mixers=mixers
    )


def many_bags(bags: int) -> str:
    """Doubt so many bags in a batch."""
    return say(
        "{bags} bags in a batch are much for one filling of a mixer: is --bags-per-batch right?",
        bags=bags,
    )


def odd_strip(strip_mm: float, narrow_mm: float, wide_mm: float, units: Units) -> str:
    """Doubt a strip of such a depth."""
    return say(
        "A strip of {depth} is odd, {narrow} to {wide} are usual: is --strip right?",
        depth=units.place(strip_mm),
        narrow=units.place(narrow_mm),
        wide=units.place(wide_mm),
    )


# --- of the product's sheet ---------------------------------------------------------------------


def one_working_time(celsius: float, units: Units) -> str:
    """Say that the sheet's working time may not be that of this temperature."""
    return say(
        "The sheet states one working time for all temperatures: it may be another at {here} "
        "(warmth shortens it).",
        here=units.temperature(celsius),
    )


def shortest_counts(working_s: float) -> str:
    """Say which of the sheet's working times counts without a temperature."""
    return say(
        "No --temperature given: the shortest working time of the sheet, {shortest}, counts.",
        shortest=minutes(working_s),
    )


def sheet_allows(low_c: float | None, high_c: float | None, units: Units) -> str:
    """Say which temperatures the sheet allows, where the floor's was not given."""
    if high_c is None:
        assert low_c is not None
        return say(
            "The sheet allows {low} and more: measure floor and air before you pour.",
            low=units.temperature(low_c),
        )
    if low_c is None:
        return say(
            "The sheet allows up to {high}: measure floor and air before you pour.",
            high=units.temperature(high_c),
        )
    return say(
        "The sheet allows {low} to {high}: measure floor and air before you pour.",
        low=units.temperature(low_c),
        high=units.temperature(high_c),
    )


def not_checked(celsius: float, units: Units) -> str:
    """Say that nothing tells whether a temperature suits."""
    return say(
        "Whether {here} suits the product is not checked: give its --sheet with min_temperature "
        "and max_temperature.",
        here=units.temperature(celsius),
    )


def outside(celsius: float, limit_c: float, units: Units) -> str:
    """Say that the floor is colder or hotter than the sheet allows."""
    here, limit = units.temperature(celsius), units.temperature(limit_c)
    if celsius < limit_c:
        message = (
            say(
                "The floor is just colder than the sheet allows ({limit} at least): wait, or warm "
                "the room and measure the floor again.",
                limit=limit,
            )
            if here == limit
            else say(
                "The floor is at {here}, colder than the sheet allows ({limit} at least): wait, "
                "or warm the room and measure the floor again.",
                here=here,
                limit=limit,
            )
        )
    else:
        message = (
            say(
                "The floor is just hotter than the sheet allows ({limit} at most): wait, or cool "
                "the room and measure the floor again.",
                limit=limit,
            )
            if here == limit
            else say(
                "The floor is at {here}, hotter than the sheet allows ({limit} at most): wait, or "
                "cool the room and measure the floor again.",
                here=here,
                limit=limit,
            )
        )
    return message


# --- what it advises ----------------------------------------------------------------------------

BINDS = {
    "buckets": say("The buckets limit the pace."),
    "mixers": say("The mixers limit the pace."),
    "crew": say("One pair of hands for everything limits the pace."),
    "mixing": say("Those at the mixers limit the pace."),
    "helpers": say("Measuring water limits the pace."),
    "carrying": say("Those who carry and pour hold it up."),
    "spreading": say("Those who spread limit the pace."),
}


_ROLES = {
    "helpers": say("measuring water"),
    "mixing": say("mixing"),
    "carrying": say("carrying"),
    "spreading": say("spreading"),
}


def idle(shares: Mapping[str, float]) -> str:
    """Say which share of the pour each role stands idle."""
    told = (put("{role} {share:.0%}", role=_ROLES[role], share=shares[role]) for role in shares)
    return join(", ", told)


def goes(margin_s: float, binds: str, little: bool) -> str:
    """Say that one pour goes, what limits its pace, and whether that is with little in hand."""
    text = say(
        "One pour goes: the wet edge keeps {margin} in hand, 95 times in 100. {binds}",
        margin=minutes(margin_s),
        binds=BINDS[binds],
    )
    if not little:
        return text
    return join(" ", [text, say("That is little: time one batch before you begin.")])


def slower_product(needed_s: float) -> str:
    """Name the change to a product that keeps longer."""
    return say("a product with at least {needed} of working time", needed=minutes(needed_s))


def does_not_go(late_s: float, binds: str, cheapest: str | None, slower: str) -> str:
    """Say that one pour does not go, and the cheapest change that makes it go."""
    text = say(
        "Not in one pour: the wet edge would be {late} too old at its worst place. {binds}",
        late=minutes(late_s),
        binds=BINDS[binds],
    )
    change = (
        say("No change of crew or bays that was tried makes it safe: take {slower}.", slower=slower)
        if cheapest is None
        else say(
            "Cheapest change that makes it safe: {cheapest}. Or {slower}.",
            cheapest=cheapest,
            slower=slower,
        )
    )
    return join(" ", [text, change])


def verdict(feasible: bool, allowed_by_sheet: bool) -> str:
    """Say whether the pour can be poured in one go."""
    if feasible:
        return say("Can be poured in one go.")
    if allowed_by_sheet:
        return say("Not feasible in one pour.")
    return say("Not feasible at this temperature.")


def not_ticked(steps: Sequence[str]) -> str:
    """Say which steps before the pour are not ticked; many are only counted."""
    if len(steps) > FEW_STEPS:
        return say("{count} steps before the pour are not ticked (rig pour list)", count=len(steps))
    return say("Not ticked before the pour: {steps} (rig pour list)", steps=join(", ", steps))


# --- of clocks, and after -----------------------------------------------------------------------


def clock_set_back(gap_s: float) -> str:
    """Say that the clock was set back while nothing was logged."""
    return say(
        "The clock was set back by at least {gap} while the log was off: the true ages of the "
        "edges are not known, they are at least what is shown. Look at a watch.",
        gap=minutes(gap_s),
    )


def clock_learnt(by_s: float) -> str:
    """Say that the time of day was learnt only after the computer had started."""
    return say(
        "The clock was set on by {by} after the computer had started: the ages of what was poured "
        "before that are corrected by as much.",
        by=minutes(by_s),
    )


CLOCK_MAY_STAND = say(
    "The clock of this system may stand still while the computer sleeps: after a sleep the "
    "edges are older than what is shown. Keep it awake, and look at a watch."
)


def clock_was_set(drift_s: float) -> str:
    """Say that the clock was set while the log ran."""
    message = (
        say(
            "The clock was set back by {drift} during the pour; the ages go by the steady "
            "clock and hold."
        )
        if drift_s < 0
        else say(
            "The clock was set on by {drift} during the pour; the ages go by the steady clock "
            "and hold."
        )
    )
    return say(message, drift=minutes(abs(drift_s)))


def after(walk_on: str | None, cover: str | None) -> Sequence[str]:
    """Say what comes after the pour; times of day by the sheet, None where it says nothing."""
    return [
        say("Walk on when the sheet says (about 4 hours: common practice, no source).")
        if walk_on is None
        else say("Walk on from {time} (the sheet's time).", time=walk_on),
        say("Cover when the sheet says; measure the moisture first.")
        if cover is None
        else say("Cover from {time} (the sheet's time).", time=cover),
        say(
            "Now: rinse mixers, buckets, rake and roller before they set; no wash water into "
            "drains."
        ),
        say("Keep sun and draught off. Then shoot the finished floor: rig survey --kind finished"),
    ]
