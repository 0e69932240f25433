"""Settings for every test: property tests are repeatable and not timed (speed: benchmarks)."""

from hypothesis import HealthCheck, settings

settings.register_profile(
    "saltreach",
    deadline=None,
    derandomize=True,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("saltreach")
