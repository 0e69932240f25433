"""Settings for every test: property tests are repeatable and not timed (speed: benchmarks).

`make test` tries a few cases of each property, the same each time; `make search` looks for
new ones.
"""

from hypothesis import HealthCheck, settings

settings.register_profile(
    "repeatable",
    deadline=None,
    derandomize=True,
    max_examples=20,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile(
    "search", settings.get_profile("repeatable"), derandomize=False, max_examples=500
)
settings.load_profile("repeatable")
