"""What the tests of the doors share: a second farm, whose people are strangers to the first."""

import pytest

from tests.farm import Farm


@pytest.fixture(scope="module")
def module_strangers(module_farm: Farm) -> Farm:
    """A farm beside the module's own, undone with it."""
    return Farm("theirs")


@pytest.fixture
def theirs(module_strangers: Farm, farm: Farm) -> Farm:
    return module_strangers
