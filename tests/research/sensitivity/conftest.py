import pytest
from sensitivity_samples import drives_of, study_of


@pytest.fixture(scope="session")
def study(world_maker, roller):
    """What scenarios start from, the doubt of yards lost, and the candidates' scores."""
    return study_of(drives_of(world_maker), roller)
