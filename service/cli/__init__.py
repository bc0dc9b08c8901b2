"""The command pugmill: the owner's commands, which use HTTP, and the server's."""

import click

from service.cli.commands import Commands, Listed

_OWNERS = {
    "begin": Listed(
        place="service.client.commands.begin:begin", help="Begin a workshop of your own with a small file."
    ),
    "register": Listed(
        place="service.client.commands.register:register", help="Register a workshop, or a part of it, from files."
    ),
    "quote": Listed(place="service.client.commands.quote:quote", help="Quote a batch: from an order file to its PDF."),
    "price": Listed(
        place="service.client.commands.price:price", help="Price a listing, and show where the money goes."
    ),
    "reprice": Listed(
        place="service.client.commands.reprice:reprice", help="Compute all prices, and put the new ones in force."
    ),
    "export-prices": Listed(
        place="service.client.commands.papers:export_prices",
        help="Export the prices: table, CSV, web page, PDF, labels.",
    ),
    "job-sheet": Listed(
        place="service.client.commands.papers:job_sheet", help="Write the job sheet of a batch; no money on it."
    ),
    "record": Listed(place="service.client.records.record:record", help="Record what really happened to a batch."),
    "variances": Listed(place="service.client.records.variances:variances", help="Why did a batch cost more, or less?"),
    "learn": Listed(place="service.client.records.learn:learn", help="What do the records of a product teach?"),
    "month": Listed(
        place="service.client.commands.month:month", help="Does the month pay? Profit, break-even, limits."
    ),
    "change-tariff": Listed(
        place="service.client.commands.change_tariff:change_tariff", help="Change what electricity costs, and reprice."
    ),
    "import-rates": Listed(
        place="service.client.commands.import_rates:import_rates", help="Import rates of all kinds from a CSV file."
    ),
    "refresh-exchange-rates": Listed(
        place="service.client.commands.refresh_exchange_rates:refresh_exchange_rates",
        help="Fetch the European Central Bank's rates.",
    ),
    "export-register": Listed(
        place="service.client.commands.export_register:export_register", help="Export what is registered, as a file."
    ),
}
_SERVERS = {
    "serve": Listed(place="service.cli.serve:serve", help="Run the server."),
    "migrate": Listed(place="service.cli.tables:migrate_command", help="Bring the tables up to date."),
    "distribute": Listed(
        place="service.cli.tables:distribute_command", help="Distribute the tables over the nodes of Citus."
    ),
    "workshop": Listed(place="service.cli.workshops:workshop", help="Workshops: create, list, set, export, import."),
    "key": Listed(place="service.cli.keys:key", help="Keys of a workshop: create, list, revoke."),
    "backup": Listed(place="service.cli.backup:backup", help="Back up a SQLite database while it is in use."),
    "restore": Listed(place="service.cli.backup:restore", help="Restore a backup while nobody uses the database."),
    "recompute-quotations": Listed(
        place="service.cli.recomputation:recompute_quotations", help="Recompute every quotation from its stored basis."
    ),
    "openapi": Listed(place="service.cli.contract:openapi", help="Write the contract, or check it against the code."),
}


@click.command(
    cls=Commands,
    sections={"The workshop's commands": _OWNERS, "The server's commands": _SERVERS},
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="""\b
Completion: add this line to ~/.bashrc, and restart the shell
  eval "$(_PUGMILL_COMPLETE=bash_source pugmill)"
For zsh use zsh_source in ~/.zshrc.
For fish use fish_source and pipe it into source.""",
)
@click.version_option(package_name="pugmill")
def main() -> None:
    """Pugmill: what a product costs, what to ask for it, and whether the month pays.

    First: pugmill begin and register, and then quote, price or month. These commands use a running service over
    HTTP: PUGMILL_URL is its address, PUGMILL_KEY the key. The server's commands use the database that DATABASE_URL
    names.
    """
