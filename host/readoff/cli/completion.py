"""readoff completion: what a shell needs to complete commands, options and files at the press of a key."""

from __future__ import annotations

import click

SHELLS = ("bash", "zsh", "fish")


@click.command()
@click.argument("shell", type=click.Choice(SHELLS))
@click.pass_context
def completion(context: click.Context, shell: str) -> None:
    """Print what makes SHELL complete commands, options and files of readoff.

    For good, write the line into the file that the shell reads when it starts: ~/.bashrc, ~/.zshrc, or a file of its
    own in ~/.config/fish/completions.

    \b
    Examples:
      readoff completion fish > ~/.config/fish/completions/readoff.fish
      eval "$(readoff completion bash)"
    """
    from click.shell_completion import get_completion_class

    found = get_completion_class(shell)
    assert found is not None  # the shells that click knows; the choice is among them
    made = found(context.find_root().command, {}, "readoff", "_READOFF_COMPLETE")
    click.echo(made.source_template % made.source_vars())
