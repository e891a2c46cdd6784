"""The sample fleet: 24 invented sites of the simulated world, two weeks each."""
