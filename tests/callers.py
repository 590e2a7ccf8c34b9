"""A program that calls the API."""

from django.db import connection
from django.test.utils import CaptureQueriesContext

START = "/api/v1/"


class Api:
    """Calls the API by short addresses: `items`, `items/3`."""

    def __init__(self, client):
        self.client = client

    def get(self, address, asked=None, **headers):
        return self.client.get(self._whole(address), asked or {}, headers=headers)

    def rows(self, address, **asked):
        """The rows of a list, which must be there."""
        found = self.get(address, asked)
        assert found.status_code == 200, found.content
        return found.json()["results"]

    def post(self, address, body=None, key=None):
        headers = {} if key is None else {"Idempotency-Key": key}
        return self.client.post(self._whole(address), {} if body is None else body, content_type="application/json", headers=headers)

    def patch(self, address, body, match=None):
        """Edit what was just read, or the version `match`."""
        return self.client.patch(self._whole(address), body, content_type="application/json", headers=self._match(address, match))

    def delete(self, address, match=None):
        return self.client.delete(self._whole(address), headers=self._match(address, match))

    def queries(self, address, **asked):
        """How many SQL queries a read takes, once it is known that the device is there."""
        self.get(address, asked)
        with CaptureQueriesContext(connection) as found:
            assert self.get(address, asked).status_code == 200
        return len(found)

    def _match(self, address, match):
        if match is None:
            match = self.get(address).get("ETag", "")
        return {"If-Match": match} if match else {}

    def _whole(self, address):
        return address if address.startswith(("/", "http")) else START + address
