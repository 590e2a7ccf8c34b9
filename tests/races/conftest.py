"""What every race is run with."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection
from django_scopes import scope

THREADS = 8


@pytest.fixture
def at_once(workshop):
    """Runs `act(number)` in eight threads that start together; gives what each returned or raised."""

    def at_once(act):
        barrier = Barrier(THREADS)

        def run(number):
            try:
                with scope(workshop=workshop):
                    barrier.wait(timeout=30)
                    return act(number)
            except Exception as error:  # noqa: BLE001 - what it was is what the test asks
                return error
            finally:
                connection.close()

        with ThreadPoolExecutor(THREADS) as pool:
            return list(pool.map(run, range(THREADS)))

    return at_once
