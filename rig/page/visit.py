"""What a page of the job gets and gives: a visit, a form with what is wrong in it, a step."""

import contextlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from rig.errors import BadInput
from rig.language import join, numeral, say
from rig.texts import name_of
from rig.units import Units, parse_length, pointed, with_point

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.page.work import Rods, Wanted, Work

T = TypeVar("T")
LONGEST_FIELD = 16_000
MOST_UPLOAD = 10_000_000
NO_ACT, NO_PART = say("There is no such act here."), say("There is no such part.")


class Wrong(BadInput):
    """A form with something wrong in it; the fields say what."""


@dataclass
class Form:
    """The fields of a form, or of an address, files by field, and what is wrong by name.

    Each reader returns None for a field that is left empty or cannot be read, and notes the latter;
    `check` then refuses the whole.
    """

    fields: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, bytes] = field(default_factory=dict)
    wrong: dict[str, str] = field(default_factory=dict)
    asks: tuple[str, ...] = ()
    """What a form would do, told before it does it."""

    def text(self, name: str) -> str:
        """Return a field as it was typed, without blanks around it."""
        return self.fields.get(name, "").strip()

    def read(self, name: str, parse: Callable[[str], T], needed: str = "") -> T | None:
        """Return what a field means; `needed` is what is said where it is empty."""
        text = self.text(name)
        if not text:
            if needed:
                self.wrong[name] = needed
            return None
        try:
            return parse(text)
        except BadInput as error:
            self.wrong[name] = error.text
            return None

    def quantity(
        self,
        name: str,
        parse: Callable[[str], T],
        needed: str = "",
        *,
        bare: str | None = None,
        what: str = "",
    ) -> T | None:
        """Return what a field means whose numbers are as the phone's language writes them."""
        return self.read(name, lambda text: parse(pointed(text, bare, what)), needed)

    def name(self, name: str, what: str, needed: bool = True) -> str | None:
        """Return a name."""
        return self.read(
            name, lambda text: name_of(text, what), say("{what} is empty.", what=what) * needed
        )

    def length(
        self,
        name: str,
        what: str,
        bare: str | None = None,
        *,
        needed: str = "",
        above: float | None = None,
        minimum: float | None = None,
    ) -> float | None:
        """Return a length in mm; `bare` is the unit of a number that names none."""

        def parse(text: str) -> float:
            length_mm = parse_length(with_point(text, bare), unit=bare, what=what)
            if above is not None and not length_mm > above:
                raise BadInput(
                    say("{what} must be more than {above}.", what=what, above=numeral(above, "g"))
                )
            if minimum is not None and length_mm < minimum:
                raise BadInput(
                    say(
                        "{what} must not be less than {minimum}.",
                        what=what,
                        minimum=numeral(minimum, "g"),
                    )
                )
            return length_mm

        return self.quantity(name, parse, needed, bare=bare, what=what)

    def whole(self, name: str, what: str, least: int = 1, most: int = 1000) -> int | None:
        """Return a whole number."""

        def parse(text: str) -> int:
            if not (text.isascii() and text.isdigit()) or not least <= int(text[:9]) <= most:
                raise BadInput(
                    say(
                        "{what} is a whole number from {least} to {most}.",
                        what=what,
                        least=least,
                        most=most,
                    )
                )
            return int(text)

        return self.read(name, parse)

    def number(self, name: str, what: str, least: float, most: float) -> float | None:
        """Return a number, with a decimal point or comma."""

        def parse(text: str) -> float:
            try:
                number = float(text.replace(",", "."))
            except ValueError:
                raise BadInput(say("{what} is a number.", what=what)) from None
            if not least <= number <= most:
                raise BadInput(
                    say(
                        "{what} is from {least} to {most}.",
                        what=what,
                        least=numeral(least, "g"),
                        most=numeral(most, "g"),
                    )
                )
            return number

        return self.quantity(name, parse, what=what)

    def check(self) -> None:
        """Refuse the form where something is wrong."""
        if self.wrong:
            raise Wrong(join(" ", self.wrong.values()))

    def confirm(self, texts: Iterable[str]) -> None:
        """Tell what would come of it, and refuse the form until that is agreed to."""
        self.asks = tuple(texts)
        if self.asks and not self.text("sure"):
            raise Wrong(" ".join(self.asks))

    @contextlib.contextmanager
    def noted(self, name: str) -> Iterator[None]:
        """Note what the block refuses beside a field, and go on."""
        try:
            yield
        except BadInput as error:
            self.wrong[name] = error.text

    @contextlib.contextmanager
    def at(self, name: str) -> Iterator[None]:
        """Note what the block refuses beside a field, and refuse the form."""
        with self.noted(name):
            yield
        self.check()


def room_unit(units: Units) -> str:
    """Return the unit of a bare number for a length of a room."""
    return "m" if units.is_metric else "ft"


@dataclass(frozen=True, kw_only=True)
class Visit:
    """A page of one job: what it is asked for, and what it may use.

    Attributes
    ----------
    job : Job
        Open for reading, or to write where something is done.
    name : str
        Of the job.
    path : Path
    form : Form
        What was typed, or what the address asks.
    work : Work
        Live sessions.
    rods : Rods
        What can be measured with.
    units : Units
        Of the job.
    room : str or None
        To which the job is narrowed, where it has several.
    rooms : tuple of str
        The names of its rooms, where it has several.
    """

    job: "Job"
    name: str
    path: Path
    form: Form
    work: "Work"
    rods: "Rods"
    units: Units
    room: str | None = None
    rooms: tuple[str, ...] = ()

    @property
    def in_house(self) -> bool:
        """Whether the page is of several rooms together."""
        return bool(self.rooms) and self.room is None

    @property
    def room_unit(self) -> str:
        """Unit of a bare number for a length of a room."""
        return room_unit(self.units)

    @property
    def cover_unit(self) -> str:
        """Unit of a bare number for a small length."""
        return "mm" if self.units.is_metric else "in"

    @property
    def number_keys(self) -> str:
        """Which keys a phone shows for a length: feet and inches want more than digits."""
        return "decimal" if self.units.is_metric else "text"

    def place(self, asks: str) -> tuple[float, float]:
        """Return the place of the room that the form tells, and refuse what is wrong in the form.

        `asks` is what is said where there is none.
        """
        x = self.form.length("x", say("The place"), self.room_unit, needed=asks)
        y = self.form.length("y", say("The place"), self.room_unit, needed=asks)
        self.form.check()
        assert x is not None
        assert y is not None
        return x, y


def narrow_to_place(visit: Visit, x_mm: float, y_mm: float) -> None:
    """Narrow the job to the room that a place is in, where no room was chosen yet."""
    from rig.study.rooms import house_outline, in_room

    if visit.in_house:
        in_room(visit.job, house_outline(visit.job).part_at(x_mm, y_mm)[0])


@dataclass(frozen=True, slots=True)
class Served:
    """A file that is handed out."""

    name: str
    kind: str
    data: bytes
    download: bool = True


class Step:
    """A step of the job: one page, its acts, and the parts of it that are asked for alone.

    Attributes
    ----------
    key : str
        In the address, and the name of its template.
    most_upload : int
        Bytes that a form may have here, files and all; 0 where it has no files.
    of_job : bool
        Whether it is of the whole job, whichever room is looked at.
    of_house : str
        The step that is shown instead where no one of several rooms is looked at.
    """

    key: str
    of_job = False
    of_house = ""
    most_upload = 0

    def template(self, visit: Visit) -> str:
        """Return the name of the page's template."""
        return f"{self.key}.html"

    def view(self, visit: Visit) -> object:
        """Return what the page shows."""
        raise NotImplementedError

    def act(self, visit: Visit, act: str) -> "str | Wanted | None":
        """Do what a form asks for.

        Return which step to go to then, or the session to begin; None shows the page again, as
        it was filled in.
        """
        raise BadInput(NO_ACT)

    def part(self, visit: Visit, part: str) -> "tuple[str, object] | Served":
        """Return a part of the page: its template and what it shows; or a file."""
        raise BadInput(NO_PART)
