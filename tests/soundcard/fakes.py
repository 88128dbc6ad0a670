"""A sound card made of lists: what is played comes back, later, with noise; and it fails when it is told to."""

from __future__ import annotations

from collections import deque

import numpy as np

from humcheck.soundcard.session import Block, DeviceGone

RATE_HZ = 48000
BLOCK = 2400


class FakePlayer:
    """Plays an array in blocks, as the card's clock goes on."""

    def __init__(self, samples, *, gone_at=None, stuck=False, fails=False, gaps=0):
        self.samples, self.gaps = samples, gaps
        self.started_at = None
        self.position = 0
        self._gone_at, self._stuck, self._fails = gone_at, stuck, fails
        self.closed = False

    duration_s = property(lambda self: len(self.samples) / RATE_HZ)

    def start(self):
        if self._fails:
            raise DeviceGone("the device that plays does not start (busy)")
        self.started_at = 0

    def pull(self, count):
        """Return what the card plays next; silence before the start and after the end."""
        out = np.zeros((count, self.samples.shape[1]))
        if self.started_at is not None and self.alive:
            part = self.samples[self.position : self.position + count]
            out[: len(part)] = part
            self.position += count
        return out

    @property
    def finished(self):
        return not self._stuck and self.position >= len(self.samples)

    @property
    def alive(self):
        return self._gone_at is None or self.position < self._gone_at

    def close(self):
        self.closed = True


class FakeSource:
    """Hands over blocks without end: a player's sound, late by `delay` samples, and a little noise.

    `events` maps the number of a block to what happens there: ``"lost"`` (the block before it is gone), ``"dead"`` (no
    block any more, and the library says so), ``"silent"`` (the same, and it does not), or a function to be called.
    """

    def __init__(self, player=None, *, gain=0.6, noise=1e-5, delay=777, n_channels=2, events=None, seed=1):
        self.rate_hz, self.n_channels = RATE_HZ, n_channels
        self._player, self._gain, self._noise = player, gain, noise
        self._events = events or {}
        self._rng = np.random.default_rng(seed)
        self._late = deque([np.zeros((delay, n_channels))])
        self._count = 0
        self._mode = "well"
        self.started = self.closed = False

    def start(self):
        self.started = True

    def next_block(self, timeout_s):
        event = self._events.get(self._count)
        if event in ("dead", "silent"):
            self._mode = event
        if self._mode != "well":
            return None
        if event == "lost":
            self._made()
        elif callable(event):
            event()
        self._count += 1
        return Block(self._made().astype(np.float32), event == "lost")

    def _made(self):
        if self._player is not None:
            self._late.append(self._player.pull(BLOCK))
        else:
            self._late.append(np.zeros((BLOCK, self.n_channels)))
        waiting = np.concatenate(self._late)
        self._late = deque([waiting[BLOCK:]])
        return self._gain * waiting[:BLOCK] + self._noise * self._rng.standard_normal((BLOCK, self.n_channels))

    @property
    def alive(self):
        return self._mode != "dead"

    def close(self):
        self.closed = True


class ListWriter:
    """Keeps blocks; full after `most` of them."""

    def __init__(self, most=None):
        self.blocks, self._most = [], most

    def write(self, samples):
        from humcheck.soundcard.writer import DiskFull

        if self._most is not None and len(self.blocks) >= self._most:
            raise DiskFull("the disk is full")
        self.blocks.append(samples)

    @property
    def samples(self):
        return np.concatenate(self.blocks)
