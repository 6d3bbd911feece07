"""`rig firm`: name, address and logo of the firm that hands floors over."""

from pathlib import Path

import click

from rig.cli.options import json_option, show
from rig.language import join, say


@click.command()
@click.option("--name", help="As it signs.")
@click.option("--address", help="In lines parted by ; as '12 Oak St; Springfield; 555 0100'.")
@click.option(
    "--logo",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A picture, JPEG or PNG; a smaller copy of it is kept.",
)
@json_option
def command(name: str | None, address: str | None, logo: Path | None, as_json: bool) -> None:
    """Tell or change what stands at the head of a customer's page.

    Kept in your data directory, never in a job.
    """
    from rig.products.firm import changed, load_firm, save_firm

    firm = changed(load_firm(), name, address)
    if (name, address, logo) != (None, None, None):
        from rig.report.pictures import logo_of

        firm = save_firm(firm, None if logo is None else logo_of(logo).data)
    lines = [firm.name or say("No name yet: rig firm --name NAME"), *firm.address]
    lines.append(say("Logo: {logo}", logo=firm.logo or say("none")))
    show(firm.as_json(), as_json, join("\n", lines))
