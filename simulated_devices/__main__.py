"""Command line of the simulated devices: `python -m simulated_devices serial|ble …`."""

import argparse
import json
import math
import sys
from pathlib import Path
from typing import NoReturn

from simulated_devices import Refused, ble_rod, sensor, serial_rod, site_rod
from simulated_devices.encode import PROFILES
from simulated_devices.faults import FAULTS
from simulated_devices.floor import KINDS, Floor, floor_from_file
from simulated_devices.points_walk import read_points
from simulated_devices.pour_crew import read_plan, script
from simulated_devices.private_bus import VARIABLE
from simulated_devices.world import CLAMP_MM, LINE_MM, ROOM_MM, make_world


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}. See {self.prog} --help.\n")


def main(words: list[str] | None = None) -> int:
    """Run the command line; return the exit code: 0 stopped, 2 refused."""
    options = _parser().parse_args(words)
    try:
        if options.device == "faults":
            print(json.dumps(_faults(options.link)))
        elif options.device == "crew":
            _crew(options)
        elif options.device == "site":
            site_rod.serve(options.invitation, options.seed, options.zero_mm, options.room_mm)
        elif options.device == "sensor":
            sensor.serve(options.air, options.rh, options.floor, options.seed)
        else:
            _run(options)
    except Refused as refusal:
        print(f"simulated_devices: {refusal}", file=sys.stderr)
        return 2
    return 0


def _faults(link: str) -> list[dict[str, str]]:
    return [
        {"name": name, "text": fault.text, "fault": f"{name}={fault.shown}".removesuffix("=")}
        for name, fault in FAULTS.items()
        if link in fault.over
    ]


def _run(options: argparse.Namespace) -> None:
    floor: Floor | None = None
    if options.floor is not None:
        if options.room_mm is not None:
            raise Refused("--floor brings its own room; leave --room-mm out.")
        floor = floor_from_file(options.floor)
    world = make_world(
        seed=options.seed,
        floor=floor,
        room_mm=options.room_mm or ROOM_MM,
        kind=options.kind,
        profile=options.profile,
        rate_hz=options.rate,
        unit=options.unit,
        resolution_mm=options.resolution_mm,
        noise_mm=options.noise_mm,
        clamp_mm=options.clamp_mm,
        line_over_floor_mm=options.line_mm,
        laser_mm=options.laser_mm,
        slope_mm_per_m=options.slope,
        cone_mm_per_m=options.cone,
        drift_mm_per_h=options.drift,
        fault=options.fault,
        follow=options.follow,
        steered=getattr(options, "steered", False),
        points=read_points(options.points) if options.points else None,
        stand_s=options.stand,
        mistakes=options.mistakes,
        over=options.device,
        lockstep=options.lockstep,
    )
    if options.device == "ble":
        ble_rod.serve(world, speed=options.speed, name=options.name, truth=options.truth)
    else:
        serial_rod.serve(world, speed=options.speed, link=options.link, truth=options.truth)


def _crew(options: argparse.Namespace) -> None:
    words, truth = script(read_plan(options.plan), options.seed)
    for at_s, word in words:
        print(f"{at_s:.3f} {word}")
    if options.truth is not None:
        options.truth.write_text(json.dumps(truth) + "\n")


def _parser() -> _Parser:
    parser = _Parser(
        prog="simulated_devices",
        description="Invented hardware for docs, demos and tests. Nothing it says was measured.",
        allow_abbrev=False,
    )
    devices = parser.add_subparsers(dest="device", required=True, metavar="DEVICE")
    serial = devices.add_parser(
        "serial",
        help="a rod on a serial port (a pseudo-terminal)",
        description="Print a pseudo-terminal's path and serve an invented rod there until stopped.",
        epilog=_fault_table("serial"),
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    rod = serial.add_argument_group("the rod")
    rod.add_argument("--profile", choices=PROFILES, default="sentence", help="what it sends")
    rod.add_argument("--unit", choices=("mm", "in"), default="mm", help="what 'sentence' sends")
    rod.add_argument(
        "--clamp-mm",
        type=_number,
        default=CLAMP_MM,
        metavar="MM",
        help=f"clamp height of 'offset-mm' ({CLAMP_MM:g})",
    )
    _add_rod(rod)
    _add_world(serial).add_argument(
        "--link", type=Path, metavar="PATH", help="a link to the pseudo-terminal"
    )
    ble = devices.add_parser(
        "ble",
        help="a rod over Bluetooth LE (a stand-in BlueZ on a private D-Bus)",
        description="Print the rod's name and the private D-Bus on which it is to be found, and "
        f"serve until stopped. {VARIABLE} names a private bus that is there already.",
        epilog=_fault_table("ble"),
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    rod = ble.add_argument_group("the rod")
    rod.add_argument("--name", default="Rod-1", help="under which it is found (Rod-1)")
    rod.add_argument("--profile", choices=("gatt-rod",), default="gatt-rod", help="what it sends")
    rod.set_defaults(unit="mm", clamp_mm=CLAMP_MM)
    _add_rod(rod)
    _add_world(ble)
    thermometer = devices.add_parser(
        "sensor",
        help="a thermometer and hygrometer on a serial port (a pseudo-terminal)",
        description="Print a pseudo-terminal's path and tell air and floor there until stopped.",
        allow_abbrev=False,
    )
    for name, usual in (("--air", 21.5), ("--rh", 55.0), ("--floor", 18.0)):
        thermometer.add_argument(name, type=_number, default=usual, help=f"({usual:g})")
    thermometer.add_argument("--seed", type=int, default=1, help="of its noise (1)")
    listed = devices.add_parser(
        "faults",
        help="list the faults as JSON",
        description="List the faults that can befall a link, with values for a short walk.",
        allow_abbrev=False,
    )
    listed.add_argument("--link", choices=("serial", "ble"), default="serial")
    crew = devices.add_parser(
        "crew",
        help="a crew that pours",
        description="Print what an invented crew would type, each line with its second; one of its "
        "mixers fails.",
        allow_abbrev=False,
    )
    crew.add_argument("--plan", type=Path, required=True, metavar="FILE", help="a plan's JSON")
    crew.add_argument("--seed", type=_whole, default=1, metavar="N", help="of its paces (1)")
    crew.add_argument("--truth", type=Path, metavar="FILE", help="keep what is really so in FILE")
    site = devices.add_parser(
        "site",
        help="rods of a site, each with its box and its installer",
        description="Say that they are there, and serve one rod for each invitation until stopped.",
        allow_abbrev=False,
    )
    site.add_argument(
        "--invitation", type=Path, action="append", required=True, metavar="FILE", help="of a rod"
    )
    site.add_argument("--seed", type=_whole, default=1, metavar="N", help="of the floor (1)")
    site.add_argument(
        "--zero-mm",
        type=_number,
        default=0.0,
        metavar="MM",
        help="what each rod reads more than the one before it (0)",
    )
    site.add_argument("--room-mm", type=_pair, default=ROOM_MM, metavar="W,L", help="its room")
    return parser


def _add_rod(rod: argparse._ArgumentGroup) -> None:
    rod.add_argument("--rate", type=_number, default=10.0, metavar="HZ", help="messages a second")
    rod.add_argument(
        "--resolution-mm",
        type=_number,
        metavar="MM",
        help="one step of the display (0.1, or 0.254 where it shows inches)",
    )
    rod.add_argument(
        "--noise-mm", type=_number, default=0.15, metavar="MM", help="sd of one reading (0.15)"
    )
    rod.add_argument(
        "--fault",
        action="append",
        default=[],
        metavar="NAME[=VALUE]",
        help="something that goes wrong, see below; may be given again",
    )


def _add_world(device: argparse.ArgumentParser) -> argparse._ArgumentGroup:
    place = device.add_argument_group("the floor and the laser")
    place.add_argument("--floor", type=Path, metavar="FILE", help="a JSON raster, or a truth file")
    place.add_argument(
        "--seed", type=_whole, default=1, metavar="N", help="of all that is invented (1)"
    )
    place.add_argument("--kind", choices=KINDS, default="subfloor", help="of the invented floor")
    place.add_argument(
        "--room-mm", type=_pair, metavar="W,L", help="its room (3657.6,4572: 12 ft by 15 ft)"
    )
    place.add_argument(
        "--line-mm",
        type=_number,
        default=LINE_MM,
        metavar="MM",
        help=f"height of the line over the floor's highest place ({LINE_MM:g})",
    )
    place.add_argument(
        "--laser-mm", type=_pair, metavar="X,Y", help="where the laser stands (the room's middle)"
    )
    place.add_argument(
        "--slope",
        type=_pair,
        metavar="X,Y",
        help="the line's slope errors, mm/m (from the seed, within 0.05); write --slope=-1,0",
    )
    place.add_argument("--cone", type=_number, default=0.0, metavar="MM/M", help="cone error (0)")
    place.add_argument(
        "--drift", type=_number, default=0.3, metavar="MM/H", help="fastest drift of the line (0.3)"
    )
    who = device.add_argument_group("who moves the rod (nobody, unless one of these is given)")
    who.add_argument(
        "--points",
        type=Path,
        metavar="FILE",
        help="walk the points of a CSV label,x_mm,y_mm in order, from when somebody first reads; "
        "with --follow: places known beforehand",
    )
    who.add_argument(
        "--stand", type=_number, default=3.0, metavar="S", help="how long on each of --points (3)"
    )
    who.add_argument(
        "--follow",
        action="store_true",
        help="do what the tool says: its events come in on standard input, one JSON object a line",
    )
    who.add_argument(
        "--steered",
        action="store_true",
        help="be moved by a person: what the hands do comes in on standard input too",
    )
    who.add_argument(
        "--mistakes", type=_number, default=0.04, metavar="SHARE", help="of the walks (0.04)"
    )
    run = device.add_argument_group("running")
    run.add_argument(
        "--speed", type=_speed, default=1.0, metavar="X", help="times faster than the wall clock"
    )
    run.add_argument(
        "--lockstep",
        action="store_true",
        help='with --follow: time goes on by one message at each {"do": "go"} on standard input',
    )
    run.add_argument("--truth", type=Path, metavar="FILE", help="keep what is really so in FILE")
    return run


def _fault_table(over: str) -> str:
    rows = ["faults (NAME=VALUE, values left out have their defaults):"]
    for name, fault in FAULTS.items():
        if over not in fault.over:
            continue
        shape = f"{name}={fault.shape}" if fault.values else name
        rows.append(f"  {shape:<30} {fault.text} ({fault.default or 'no value'})")
    return "\n".join(rows)


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is no number") from None
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"'{text}' is no number to work with")
    return value


def _whole(text: str) -> int:
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"'{text}' is no whole number from 0 up")
    return int(text)


def _speed(text: str) -> float:
    value = _number(text)
    if not 0.01 <= value <= 1000:
        raise argparse.ArgumentTypeError(f"'{text}' is not between 0.01 and 1000")
    return value


def _pair(text: str) -> tuple[float, float]:
    words = text.split(",")
    if len(words) != 2:
        raise argparse.ArgumentTypeError(f"'{text}' is not two numbers with a comma between them")
    return _number(words[0]), _number(words[1])


if __name__ == "__main__":
    sys.exit(main())
