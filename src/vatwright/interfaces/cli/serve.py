"""``vatwright serve``: the bench in a browser."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from vatwright.wording import say

if TYPE_CHECKING:
    from vatwright.interfaces.web.settings import BenchSettings


@click.command("serve", epilog="Example: vatwright serve --shop shop.toml --phones")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on; 0.0.0.0 lets phones pair.")
@click.option("--port", type=click.IntRange(1, 65_535), default=8423, show_default=True, help="Port to listen on.")
@click.option("--phones", is_flag=True, help="Let phones pair, encrypted, on the next port; the desk stays as it is.")
@click.option("--shop", type=click.Path(), help="Shop file; else VATWRIGHT_SHOP, the notebook, the demo workshop.")
@click.option("--store", metavar="PATH", help="The notebook whose shop is shown; else as every command finds it.")
def serve(host: str, port: int, phones: bool, shop: str | None, store: str | None) -> None:
    """Open the bench in a browser, at the desk and beside the machine.

    Only this computer reaches it unless --phones or --host says otherwise; then a phone must be paired by the code that the
    desk shows. Ctrl-C closes it.
    """
    from vatwright.interfaces.web.settings import BenchSettings, bracketed

    settings = BenchSettings(host=host, port=port, shop=shop, store=store)
    if phones:
        settings = _for_phones(settings)
    told = "127.0.0.1" if host in ("0.0.0.0", "::") else bracketed(host)  # noqa: S104 - compared with
    click.echo(say("The bench is open at {address}", address=f"http://{told}:{port}/"), err=True)
    if settings.wide:
        click.echo(say("Phones on the network may ask to be let in: see Phones. Ctrl-C closes the bench."), err=True)
    if settings.fingerprint:
        click.echo(
            say(
                "Phones open {address}/ and should see the fingerprint {fingerprint}",
                address=settings.phone_address,
                fingerprint=settings.fingerprint,
            ),
            err=True,
        )
    from vatwright.interfaces.web.listening import listen

    listen(settings)


def _for_phones(settings: BenchSettings) -> BenchSettings:
    """Return the settings of a bench that speaks encrypted to phones."""
    from attrs import evolve

    from vatwright.interfaces.web.certificate import certificate_for
    from vatwright.interfaces.web.settings import own_address
    from vatwright.wiring import live_run_folder

    made = certificate_for(live_run_folder(settings.store).parent / "certificate", address=own_address())
    return evolve(
        settings, secure_port=settings.port + 1, certificate=made.text, fingerprint=made.fingerprint,
        certificate_file=str(made.certificate), key_file=str(made.key),
    )  # fmt: skip
