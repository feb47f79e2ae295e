"""A browser without scripts, before the pages of a desk."""

from lists import SUPERVISOR
from starlette.testclient import TestClient

from handsfree.desk.guard import Door
from handsfree.desk.site import Desk


def client(index, door=None, host="127.0.0.1", signer=SUPERVISOR):
    """Return a client of a desk at an address, whose supervisor signs by a key at hand."""
    return TestClient(Desk(index, door or Door(), signer).application(), base_url=f"http://{host}:8470")
