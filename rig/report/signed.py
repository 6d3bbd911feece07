"""What stands on a customer's page beside the job: whose floor it is, the firm's head, photos."""

from pathlib import Path

from rig.language import say
from rig.products.firm import load_firm
from rig.report.document import Letterhead
from rig.report.pictures import kept_logo, photo_of
from rig.report.source import Handover
from rig.texts import name_of


def signed(whose: str, photos: tuple[Path, ...] | None = None, what: str = "") -> Handover:
    """Return what only the user knows of the customer's page, and the firm's own head.

    Parameters
    ----------
    whose : str
        Whose floor it is; empty where nobody said.
    photos : tuple of Path, optional
        Those of the site's log unless given.
    what : str
        What `whose` is called where it is refused.
    """
    firm = load_firm()
    logo = kept_logo(firm.logo_data)
    letterhead = Letterhead(firm.name, firm.address, logo) if firm.name or logo else None
    name = name_of(whose, what or say("The name")) if whose.strip() else ""
    taken = None if photos is None else tuple(photo_of(photo) for photo in photos)
    return Handover(name, letterhead, taken)
