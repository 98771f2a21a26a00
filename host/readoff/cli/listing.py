"""How a group of commands lists them: in the order of the work, each with its whole first sentence."""

from __future__ import annotations

import click


class Listing(click.Group):
    """A group that lists its commands as they were added, and cuts no sentence off."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """In the order of the work."""
        return list(self.commands)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """What each command is for as a whole sentence, on as many lines as it takes."""
        rows = [(name, self.commands[name].get_short_help_str(limit=400)) for name in self.list_commands(ctx)]
        with formatter.section("Commands"):
            formatter.write_dl(rows)
