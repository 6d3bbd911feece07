"""Who hands a floor over: name, address and logo of the user's firm, in the user's data directory.

The logo lies beside the settings as a picture of our own writing, so that it stays when the file
that it came from is gone.
"""

from dataclasses import dataclass, replace
from pathlib import Path

from rig.errors import BadInput
from rig.files import write_whole
from rig.language import say
from rig.products.library import data_folder
from rig.record import Record
from rig.texts import name_of, parse_toml, read_text, toml_string

SETTINGS, LOGO = "firm.toml", "logo.png"
MOST_LINES, MOST_BYTES = 6, 4_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Firm(Record):
    """A firm as it signs.

    Attributes
    ----------
    name : str
    address : tuple of str
        In lines; telephone and web address may be among them.
    logo : str or None
        Path of the picture.
    """

    name: str = ""
    address: tuple[str, ...] = ()
    logo: str | None = None

    @property
    def logo_data(self) -> bytes | None:
        """The picture, or None where there is none to be had."""
        if self.logo is None:
            return None
        try:
            data = Path(self.logo).read_bytes()
        except OSError:
            return None
        return data if len(data) <= MOST_BYTES else None


def load_firm() -> Firm:
    """Return the settings, empty where none were given.

    Raises
    ------
    BadInput
        The file cannot be read, or is not as floor-rig writes it.
    """
    folder = data_folder()
    path, logo = folder / SETTINGS, folder / LOGO
    if not path.exists():
        return Firm(logo=str(logo) if logo.exists() else None)
    given = parse_toml(read_text(path, say("write it anew with rig firm"), MOST_BYTES), str(path))
    name, address = given.get("name", ""), given.get("address", [])
    if not isinstance(name, str) or not (
        isinstance(address, list) and all(isinstance(line, str) for line in address)
    ):
        raise BadInput(
            say("{path} is not as rig firm writes it; give name and address anew.", path=path)
        )
    return Firm(name=name, address=tuple(address), logo=str(logo) if logo.exists() else None)


def changed(firm: Firm, name: str | None, address: str | None) -> Firm:
    """Return a firm with another name or address; lines of an address are parted by `;`.

    Raises
    ------
    BadInput
        A line that is too long, has letters that can't be seen, or too many lines.
    """
    if name is not None:
        firm = replace(firm, name=name_of(name, "The firm's name"))
    if address is not None:
        parts = [part.strip() for part in address.split(";") if part.strip()]
        if len(parts) > MOST_LINES:
            raise BadInput(
                say(
                    "An address has at most {most_lines} lines, parted by ;.", most_lines=MOST_LINES
                )
            )
        firm = replace(firm, address=tuple(name_of(part, "A line of it") for part in parts))
    return firm


def save_firm(firm: Firm, logo: bytes | None = None) -> Firm:
    """Write the settings, and the logo where there is a new one.

    Raises
    ------
    BadInput
        They cannot be written.
    """
    folder = data_folder()
    lines = ",\n".join(f"    {toml_string(line)}" for line in firm.address)
    text = f"name = {toml_string(firm.name)}\naddress = [\n{lines}\n]\n"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if logo is not None:
            write_whole(folder / LOGO, logo)
            firm = replace(firm, logo=str(folder / LOGO))
        write_whole(folder / SETTINGS, text.encode())
    except OSError as error:
        raise BadInput(
            say("{folder} cannot be written: {strerror}.", folder=folder, strerror=error.strerror)
        ) from None
    return firm
