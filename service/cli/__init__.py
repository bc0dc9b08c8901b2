"""The one command, pugmill: what a workshop's owner runs over HTTP, and what runs the server."""

import click

from service.cli.commands import Commands, Listed

_OWNERS = {
    "quote": Listed(
        place="service.client.commands.quote:quote",
        help="Quote a batch: from a small order file to an issued quotation and its PDF.",
    ),
    "price": Listed(
        place="service.client.commands.price:price",
        help="Price a listing: register it if options say how, then print its price with every term of the way.",
    ),
    "reprice": Listed(
        place="service.client.commands.reprice:reprice",
        help="Reprice listings: work out what to ask, show what changes and why, put it in force.",
    ),
    "export-prices": Listed(
        place="service.client.commands.export_prices:export_prices",
        help="Export the price list: as a table, as CSV or as JSON-LD for a web page.",
    ),
    "change-tariff": Listed(
        place="service.client.commands.change_tariff:change_tariff",
        help="Change what electricity costs from a day on, and reprice what that touches.",
    ),
    "import-rates": Listed(
        place="service.client.commands.import_rates:import_rates",
        help="Import rates from a CSV file: what anything that has rates costs from a day on.",
    ),
    "refresh-exchange-rates": Listed(
        place="service.client.commands.refresh_exchange_rates:refresh_exchange_rates",
        help="Fetch the European Central Bank's reference rates, and tell which days are held back.",
    ),
    "month": Listed(
        place="service.client.commands.month:month",
        help="Does the month pay? What a plan leaves, where it breaks even and what limits it.",
    ),
    "register": Listed(
        place="service.client.commands.register:register",
        help="Register what a file says of a workshop: its resources, rates, products and listings.",
    ),
}
_SERVERS = {
    "serve": Listed(place="service.cli.serve:serve", help="Answer HTTP until stopped."),
    "migrate": Listed(place="service.cli.tables:migrate_command", help="Bring the tables up to date."),
    "workshop": Listed(place="service.cli.workshops:workshop", help="Workshops: create, list, export, import."),
    "key": Listed(place="service.cli.keys:key", help="Keys of a workshop: create, list, revoke."),
    "backup": Listed(
        place="service.cli.backup:backup",
        help="Write one state of a SQLite database to a file, the service working on.",
    ),
    "restore": Listed(
        place="service.cli.backup:restore", help="Put a backup in the place of a SQLite database that nobody uses."
    ),
    "recompute-quotations": Listed(
        place="service.cli.recomputation:recompute_quotations",
        help="Compute every quotation again from what was stored with it.",
    ),
    "openapi": Listed(place="service.cli.contract:openapi", help="Write the contract, or check it against the code."),
}


@click.command(
    cls=Commands,
    sections={"The workshop's commands": _OWNERS, "The server's commands": _SERVERS},
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="""\b
Completion: put this line into ~/.bashrc, and start the shell anew
  eval "$(_PUGMILL_COMPLETE=bash_source pugmill)"
with zsh_source it is for ~/.zshrc; with fish_source, piped into source, for fish.""",
)
@click.version_option(package_name="pugmill")
def main() -> None:
    """Pugmill: what a workshop's product costs, what to ask for it, and quotations.

    The workshop's commands ask a running service over HTTP: PUGMILL_URL says where it is, PUGMILL_KEY opens it. The
    server's commands go to the database that DATABASE_URL names.
    """
