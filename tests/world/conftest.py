"""The long form of the world's tests runs only when asked for: `pytest -m slow tests/world`."""

import pytest


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if "slow" in (config.getoption("-m") or ""):
        return
    for item in items:
        if "world" in item.path.parts and item.get_closest_marker("slow"):
            item.add_marker(pytest.mark.skip(reason="long form: pytest -m slow tests/world"))
