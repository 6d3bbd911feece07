"""`rig relabel`: move shots along the walk when they were tagged to the wrong points."""

from pathlib import Path

import click

from rig.cli.jobs import points_of
from rig.cli.options import job_option, json_option, show
from rig.errors import BadInput
from rig.units import counted


@click.command()
@job_option
@click.option("--from", "first", required=True, metavar="LABEL", help="The first wrong tag.")
@click.option(
    "--shift",
    required=True,
    type=int,
    metavar="N",
    help="Points along the walk; negative moves back.",
)
@click.option(
    "--kind", type=click.Choice(["floor", "finished"]), default="floor", show_default=True
)
@json_option
def command(job_path: Path, first: str, shift: int, kind: str, as_json: bool) -> None:
    """Mend wrong tags: shots from a label on move along the walk.

    A shot that lands on a point that has one already takes its place; the old one is kept in the
    log.
    """
    from rig.job.store import Job

    if shift == 0:
        raise BadInput("--shift 0 moves nothing; give 1 to move shots to the next point, or -1.")
    with Job.open(job_path, write=True) as job:
        walk = points_of(job)
        place = {point.label: n for n, point in enumerate(walk)}
        first = first.upper()
        if first not in place:
            raise BadInput(f"There is no grid point {first!r}; see rig grid.")
        shots = {shot.point: shot for shot in job.shots(kinds=[kind])}
        moves = []
        for n in range(place[first], len(walk)):
            shot = shots.get(walk[n].label)
            if shot is None:
                continue
            if not 0 <= n + shift < len(walk):
                raise BadInput(
                    f"{shot.point} would move past the {'end' if shift > 0 else 'start'} of the "
                    "walk. Undo that shot first, or give a smaller --shift."
                )
            target = walk[n + shift]
            moves.append((shot.id, target.label, target.x_mm, target.y_mm))
        if not moves:
            raise BadInput(f"There are no shots from {first} on to move.")
        was = {shot.id: shot.point for shot in shots.values()}
        job.relabel(moves)

    moved = [{"was": was[shot_id], "label": label} for shot_id, label, _, _ in moves]
    text = "\n".join(f"  {move['was']} is now {move['label']}" for move in moved)
    show(
        {"shots": len(moved), "moved": moved},
        as_json,
        f"{counted(len(moved), 'shot')} moved:\n{text}",
    )
