"""What a built wheel leaves in a clean environment, by pip and as a tool, and the server that the container files describe."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import tomllib
import zipfile
from pathlib import Path
from urllib.request import urlopen

import pytest
import yaml
from tests.store.database_server import server_url

ROOT = Path(__file__).parents[2]
UV = shutil.which("uv", path=f"{os.environ['PATH']}{os.pathsep}{ROOT / '.venv-uv' / 'bin'}")
CONTAINER = ROOT / "container"


def engine():
    """The container engine that answers here; empty without one."""
    here = [name for name in ("docker", "podman") if shutil.which(name)]
    return next((n for n in here if subprocess.run([n, "info"], capture_output=True, check=False).returncode == 0), "")


def run(*words, code=0, **options):
    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=600, **options)
    assert done.returncode == code, (words, done.stdout[-2000:], done.stderr[-2000:])
    return done


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """A folder with the wheel, and the versions that uv.lock pins."""
    folder = tmp_path_factory.mktemp("built")
    run(UV, "build", "--quiet", "--wheel", "--out-dir", folder, ROOT)
    pins = "--no-hashes", "--no-emit-project", "--all-extras", "--no-default-groups"
    run(UV, "export", "--quiet", "--frozen", *pins, "--project", ROOT, "--output-file", folder / "pins.txt")
    return folder


@pytest.fixture(scope="module")
def wheel(built):
    return next(built.glob("*.whl"))


@pytest.fixture(scope="module")
def clean(built, wheel):
    """The folder of commands of an environment that holds the wheel and what it needs, nothing that had to be compiled."""
    at = built / "clean"
    run(sys.executable, "-m", "venv", at)
    given = "--quiet", "--python", at / "bin" / "python", "--constraint", built / "pins.txt", "--only-binary", ":all:"
    run(UV, "pip", "install", *given, wheel)
    return at / "bin"


@pytest.fixture
def away(tmp_path):
    """How to run a command elsewhere than in this project, with a home of its own."""
    home = {"HOME": str(tmp_path), "PATH": os.environ["PATH"], "VATWRIGHT_CACHE": str(tmp_path / "cache")}
    return {"cwd": tmp_path, "env": home | {"VATWRIGHT_STORE": str(tmp_path / "notebook.sqlite")}}


def test_the_wheel_holds_every_file_of_the_package_and_the_demo(wheel):
    ours = {p.relative_to(ROOT / "src").as_posix() for p in (ROOT / "src" / "vatwright").rglob("*") if p.is_file()}
    wanted = {name for name in ours if "__pycache__" not in name}
    wanted |= {f"vatwright/_demo/{p.name}" for p in (ROOT / "demo").glob("*.toml")}
    assert wanted <= set(zipfile.ZipFile(wheel).namelist())


def test_pip_takes_the_wheel_and_finds_all_that_it_needs(clean, wheel, away):
    run(
        clean / "python",
        "-m",
        "pip",
        "install",
        "--quiet",
        "--no-index",
        "--force-reinstall",
        "--no-deps",
        wheel,
        **away,
    )
    run(clean / "python", "-m", "pip", "check", **away)


def test_every_module_comes_without_the_extras(clean, away):
    walk = (
        "import importlib, pkgutil, vatwright\n"
        "for m in pkgutil.walk_packages(vatwright.__path__, 'vatwright.'):\n"
        "    if not m.name.endswith('__main__') and '.migrations.' not in m.name: importlib.import_module(m.name)"
    )
    run(clean / "python", "-W", "error", "-c", walk, **away)


def test_the_installed_command_answers(clean, away, tmp_path):
    vatwright = clean / "vatwright"
    assert "carry" in run(vatwright, "--help", **away).stdout
    run(vatwright, "demo", "my-shop", **away)
    assert (tmp_path / "my-shop" / "harbour-lanterns.toml").exists()
    run(vatwright, "shop", "add", "my-shop/shop.toml", **away)
    assert "Albatross" in run(vatwright, "shop", "show", **away).stdout
    missing = run(vatwright, "fleet", "my-shop/orders.toml", code=2, **away)
    assert "[orders]" in missing.stderr


def test_it_installs_as_a_tool(built, wheel, away, tmp_path):
    places = {"UV_TOOL_DIR": str(tmp_path / "tools"), "UV_TOOL_BIN_DIR": str(tmp_path / "bin")}
    options = away | {"env": os.environ | away["env"] | places}
    run(
        UV,
        "tool",
        "install",
        "--quiet",
        "--python",
        sys.executable,
        "--constraints",
        built / "pins.txt",
        wheel,
        **options,
    )
    said = run(tmp_path / "bin" / "vatwright", "--version", **options)
    assert tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"] in said.stdout


# --- the container files -------------------------------------------------------------------------------------------------


def test_the_container_asks_for_extras_that_there_are():
    text = (CONTAINER / "Containerfile").read_text()
    extras = re.search(r"/src\[([\w,]+)\]", text).group(1).split(",")
    assert set(extras) <= set(tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["optional-dependencies"])


def test_the_command_of_the_container_opens_the_bench_on_postgresql(tmp_path):
    """Built and started where a container engine is; everywhere, its command on its kind of database answers."""
    if found := engine():
        run(found, "build", "--file", CONTAINER / "Containerfile", "--tag", "vatwright-test", ROOT)
        run(found, "run", "--rm", "vatwright-test", "vatwright", "--version")
    command = json.loads(re.search(r"^CMD (.*)$", (CONTAINER / "Containerfile").read_text(), re.MULTILINE).group(1))
    bench = yaml.safe_load((CONTAINER / "compose.yaml").read_text())["services"]["bench"]
    assert bench["network_mode"] == "host"  # only then is the server's own browser the desk
    with server_url() as database, socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1] - 1  # the phones' is the next
        assert bench["environment"]["VATWRIGHT_STORE"].split("//")[0] == database.split("//")[0]
        probe.close()
        home = os.environ | {"XDG_DATA_HOME": str(tmp_path), "VATWRIGHT_STORE": database}
        home["PATH"] = f"{Path(sys.executable).parent}{os.pathsep}{home['PATH']}"
        command[-1] += f" --port {port}"
        for _ in range(2):  # on an empty database, and on one that holds a notebook
            with subprocess.Popen(command, env=home, cwd=tmp_path, stderr=subprocess.PIPE, text=True) as server:
                try:
                    assert "<title>" in _first_page(port, server)
                finally:
                    server.terminate()


def _first_page(port, server):
    until = time.monotonic() + 60
    while server.poll() is None and time.monotonic() < until:
        try:
            with urlopen(f"http://127.0.0.1:{port}/", timeout=30) as page:
                return page.read().decode()
        except OSError:
            time.sleep(0.2)
    return f"no page: {server.stderr.read() if server.poll() is not None else 'no answer in a minute'}"
