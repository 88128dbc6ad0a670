"""An honest audio path made of its parts, for the demo, the tests and the benchmarks; shares no model with the estimators."""
