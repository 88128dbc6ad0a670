"""A take that is held in memory, with the reading side of a `TakeFile`."""

from __future__ import annotations

import numpy as np


class MemoryTake:
    def __init__(self, samples, rate_hz):
        self.samples = samples
        self.rate_hz = rate_hz
        self.n_samples, self.n_channels = samples.shape
        self.n_file_channels = self.n_channels
        self.name = "memory.wav"
        self.notes = ()

    def read(self, start=0, stop=None):
        stop = self.n_samples if stop is None else stop
        samples = np.zeros((stop - start, self.n_channels))
        first, last = min(max(start, 0), self.n_samples), max(min(stop, self.n_samples), 0)
        if last > first:
            samples[first - start : last - start] = self.samples[first:last]
        return samples

    def blocks(self, block_samples=1 << 17, start=0, stop=None):
        for index in range(start, self.n_samples if stop is None else stop, block_samples):
            yield index, self.samples[index : index + block_samples]
