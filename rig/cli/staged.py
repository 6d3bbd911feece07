"""The command line as the demo and practice use it: in this process, with sinks of their own."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rig.devices.clock import Clock
    from rig.page.server import Page
    from rig.session.run import Sink


class Staged:
    """Runs commands for a stage; see `rig.demo.stage.Commands`."""

    def run(self, words: Sequence[str]) -> None:
        """Run a command that needs no rod."""
        from rig.cli import rig

        rig.main([*words], "rig", standalone_mode=False)

    def live(
        self,
        words: Sequence[str],
        job: Path,
        *,
        speed: float,
        clock: "Clock | None",
        page: "Page | None",
        sinks: "Sequence[Sink]",
    ) -> None:
        """Run `survey` or `set` on the source that the words name."""
        from rig.cli import set_command, survey_command

        parser, work = survey_command.command, survey_command.survey
        if words[0] == "set":
            parser, work = set_command.command, set_command.set_markers
        with parser.make_context(words[0], [*words[1:]]) as context:
            options = {**context.params, "job_path": job, "as_json": False, "speed": speed}
            work(**options, clock=clock, page=page, more_sinks=sinks)

    def log_pour(
        self,
        job: Path,
        *,
        script: Sequence[tuple[float, str]],
        speed: float,
        page: "Page | None",
        sinks: "Sequence[Sink]",
    ) -> None:
        """Log the pour that is planned, from a script or a page."""
        from rig.cli.pour_command import log_pour
        from rig.study.pour_answer import PourWish

        log_pour(
            job,
            PourWish(),
            as_json=False,
            script=script,
            speed=speed,
            page=page,
            more_sinks=sinks,
        )
