"""What to try, in the order a technician would, and the cautions that belong to it (common practice, no source)."""

from __future__ import annotations

EARTH_CAUTION = (
    "Never lift, cut or tape over a protective earth to cure a hum, and build no isolating transformer for the mains: "
    "the cure belongs in the signal path. Local electrical codes and a licensed electrician have the last word."
)
CABLE_CAUTION = (
    "Switch everything off before you plug or unplug, connect the audio leads last and keep headphones off meanwhile."
)
LISTENING_CAUTION = "Listen with the volume low first: sweeps and full-scale tones harm ears and tweeters."

HUM = (
    "Feed source, box, display and recorder from one outlet strip, and measure again.",
    "Unplug one thing at a time (aerial, network, second display) and take a short quiet take after each step.",
    "Try a short, well-screened audio lead, laid away from transformers and mains leads.",
    "If the box has its own supply, try another one of the same rating.",
    "Put an audio isolating transformer between box and recorder, and compare level and bass before and after.",
)
BUZZ = (
    "Repeat the quiet section with a black screen: if the buzz goes, the picture leaks into the sound.",
    "Use leads in which each audio line has its own screen, and keep audio and video leads apart.",
    "Check that the picture is terminated in 75 ohm once and only once, and that all screens make good contact.",
    "Try another port: the input farthest from the output is the hardest case.",
)
HISS = (
    "Turn the source's own volume up and the amplifier's down, so that less of the hiss is raised.",
    "Try the box with its supply unplugged if it works without, or with another supply.",
)
LEVEL = (
    "Check that nothing else loads the output at the same time: a passive box shares the signal between its loads.",
    "Clean the contacts and try another lead.",
)
TONE = (
    "Lost bass usually comes from small coupling capacitors or an isolating transformer, lost treble from long leads "
    "on a weak source: try a shorter lead and no second load.",
)
BLEED = (
    "Use leads in which left and right are screened separately.",
    "Silence or switch off the sources on the ports that are not selected.",
)
DISTORTION = ("Turn the source down by 6 dB and measure again: distortion that goes away is overload, not a defect.",)
POLARITY = (
    "Check the lead for swapped conductors; one inverted channel makes the sound hollow and takes the bass away.",
)
NO_SOUND = (
    "Check that the box has its supply and a picture: boxes that choose their input themselves pass nothing without.",
    "Check that the port you play into is the one that is selected.",
)
