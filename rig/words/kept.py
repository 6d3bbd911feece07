"""Names of what a job keeps by a key: sessions, sources, checks and their figures."""

from rig.words import say

WORK = {
    "survey": say("Survey"),
    "set": say("Markers"),
    "pour": say("Pour"),
    "check drift": say("Drift"),
}
READ_BY = {
    "typed": say("typed in"),
    "keys": say("keys"),
    "serial": say("cable"),
    "ble": "Bluetooth",
    "replay": say("a trace"),
    "site": say("rods of a site"),
}
CHECKS = {
    "two-peg": say("Two pegs"),
    "cross": say("The cross"),
    "repeat": say("One place again"),
    "drift": say("Drift"),
    "rod": say("Rod against tape"),
}
FIGURES = {
    "error": say("error"),
    "stderr": say("standard error"),
    "chance agree": say("chance that the sights agree"),
    "limit": say("limit"),
    "tilt": say("tilt"),
    "closure": say("closure"),
    "return": say("return"),
    "return allowed": say("return allowed"),
    "cone": say("cone"),
    "n": say("readings"),
    "mean": say("mean"),
    "mean stderr": say("standard error of the mean"),
    "sd": say("spread"),
    "sd ci95": say("spread, 95 %"),
    "change": say("change"),
    "rate mm per h": say("mm an hour"),
    "rate stderr mm per h": say("standard error of mm an hour"),
    "seconds": say("seconds"),
    "zero offset": say("zero"),
    "scale": say("scale"),
    "scale stderr": say("standard error of the scale"),
}
