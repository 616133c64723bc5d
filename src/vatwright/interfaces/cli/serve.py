"""``vatwright serve``: the bench in a browser."""

from __future__ import annotations

import click


@click.command("serve", epilog="Example: vatwright serve --shop shop.toml")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on; 0.0.0.0 lets phones pair.")
@click.option("--port", type=click.IntRange(1, 65_535), default=8423, show_default=True, help="Port to listen on.")
@click.option("--shop", type=click.Path(), help="Shop file; else VATWRIGHT_SHOP, the notebook, the demo workshop.")
@click.option("--store", metavar="PATH", help="The notebook whose shop is shown; else as every command finds it.")
def serve(host: str, port: int, shop: str | None, store: str | None) -> None:
    """Open the bench in a browser, at the desk and beside the machine.

    Only this computer reaches it unless --host says otherwise; then a phone must be paired by the code that the desk shows.
    Ctrl-C closes it.
    """
    import uvicorn

    from vatwright.interfaces.web.app import make_app
    from vatwright.interfaces.web.settings import BenchSettings, bracketed

    settings = BenchSettings(host=host, port=port, shop=shop, store=store)
    app = make_app(settings)
    app.state.desk.shop()  # a shop that cannot be read is told here, not on a page
    click.echo(f"The bench is open at http://{'127.0.0.1' if settings.wide else bracketed(host)}:{port}/", err=True)
    if settings.wide:
        click.echo("Phones on the network may ask to be let in: see Phones. Ctrl-C closes the bench.", err=True)
    # Addresses are taken from the connection alone: a header can say anything.
    uvicorn.run(app, host=host, port=port, log_level="warning", proxy_headers=False, server_header=False)
