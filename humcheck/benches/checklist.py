"""The checklist of a bench: what to keep equal, how to set the level, what can hurt."""

from __future__ import annotations

TEXT = """\
Checklist for comparing with and without the box
================================================

BEFORE ANYTHING IS CONNECTED
[ ] Every plug is moved with everything switched off, audio leads last in, first
    out.
[ ] Headphones are off your ears, loudspeakers and amplifiers are off or turned
    down, while plugs are moved and while the track plays. You do not need to
    hear it.
[ ] No protective earth is lifted, cut, taped or taken off to cure a hum. No
    home-made isolating transformer for the mains. The cure belongs in the
    signal path.
[ ] Every audio pin is metered for DC before its first connection. A switching
    pin of a 21-pin connector carries up to 12 V.
[ ] No set is opened: display tubes hold a high voltage long after switching
    off.
[ ] No loudspeaker or headphone output is led into a line input.
[ ] Local electrical codes and a licensed electrician have the last word.

KEEP EQUAL BETWEEN DIRECT AND THROUGH
[ ] The same leads and adapters. A straight coupler stands where the box will
    be.
[ ] The same display, connected and terminated, switched on in both.
[ ] The same supplies, in the same sockets of the same strip. Laptops alike: all
    takes on the charger, or all on battery.
[ ] The same source with the same volume and sound setting: fixed line level or
    maximum, equaliser, surround and loudness levelling off.
[ ] The same picture on the screen, standing still. Name it as bench.toml does.
[ ] The same recorder setting from the first take to the last. Hands off the
    knob.
[ ] Leads lie where they lay; no dimmer, charger or lamp is switched meanwhile.
What has to differ is written down: one thing at a time.

SETTING THE LEVEL (once, with the direct connection)
[ ] Start low. Play the first four seconds of the track full again and again: it
    is never louder than there. Set the recorder so that peaks read -6 to -3 dB.
[ ] Line input, not microphone. Automatic gain, noise suppression, echo
    cancelling, limiter, "enhancements": off. Stereo. 48 kHz and 24 bits if
    there is a choice.
[ ] If the box is louder than the direct path and clips, turn down and begin
    again with new direct takes.

FOR VOLTS INSTEAD OF DECIBELS (if you have a meter)
[ ] Play the steady tone, connected to the recorder as always, and read the
    voltage of the line with an AC meter that is right at 1 kHz. Record that
    tone too, then:
        humcheck calibrate tone.wav --volts 1.234
    and put the lines that it prints into bench.toml.

THE PICTURE
[ ] Bright still pictures can burn into tubes, plasma and some other screens:
    minutes, not hours. Turn brightness and contrast down (the signal stays the
    same), cover the screen, or let another picture run between takes.
[ ] Fine rows can shimmer. Striped patterns can harm people with photosensitive
    epilepsy: do not look at them for long, and warn others.

EACH TAKE
[ ] Recorder first, then the track; stop after the track has ended.
[ ] Nobody touches leads while it runs. A take that was disturbed is made again.
[ ] Saved under the name in the run order. Not edited, normalised or converted.
[ ] The first direct take is checked at once: humcheck inspect TAKE

AT THE END
[ ] The last take is a direct one. If it differs from the first, the bench has
    moved, and everything is that uncertain.
[ ] Volume down before anything is unplugged.
"""
