"""The command line. Each command's module is only loaded when it is asked for, so that a line for the log costs no weather."""

import importlib

import click

COMMANDS = {
    "demo": "orders:demo",
    "brief": "orders:brief",
    "why": "orders:why",
    "why-demo": "orders:why_demo",
    "check": "check:check",
    "stand": "stand:stand",
    "ack": "ack:ack",
    "rehearse": "rehearse:rehearse",
    "passphrase": "passphrase:passphrase",
}
"""Name -> module in watch.commands, and the command in it; in the order in which help lists them."""


class Commands(click.Group):
    """A group that finds its commands in COMMANDS."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        where = COMMANDS.get(cmd_name)
        if where is None:
            return None
        module, name = where.split(":")
        command = getattr(importlib.import_module(f"watch.commands.{module}"), name)
        assert isinstance(command, click.Command)
        return command


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="nightorders")
def main() -> None:
    """The forecast held against your boat's own limits: when to shorten sail, until when each change can be made, and by when to
    turn for shelter. No substitute for official warnings or your own judgement."""


if __name__ == "__main__":
    main()
