"""What to try, in the order a technician would, and the cautions that belong to it (common practice, no source)."""

from __future__ import annotations

EARTH_CAUTION = (
    "Never lift, cut or tape over a protective earth to cure a hum, and build no isolating transformer for the mains: "
    "the cure belongs in the signal path. Local electrical codes and a licensed electrician have the last word."
)
CABLE_CAUTION = (
    "Switch everything off before you plug or unplug, connect the audio leads last and keep headphones off meanwhile."
)
SUPPLY_CAUTION = (
    "Use a supply of the same voltage, polarity and at least the same current; open no mains supply, its capacitors "
    "stay charged after it is unplugged."
)
DISPLAY_CAUTION = "Do not open a display: a tube keeps thousands of volts long after it is switched off."

#: Hunting by halves, for a noise whose cause is open.
ISOLATE = "Put an audio isolating transformer into the audio lead, and compare level and bass before and after."
BLACK_PICTURE = "Repeat the quiet section with a black picture: if the buzz goes, the picture leaks into the sound."
ONE_AT_A_TIME = "Unplug one thing at a time (aerial, network, second display) and take a short quiet take after each."
LOOP = (
    "Feed source, device, display and recorder from one outlet strip, and measure again.",
    "Unplug whatever else is earthed, one thing at a time (aerial, network, second display), a short quiet take each.",
    "Run the recorder, if it is a portable computer, on its battery without its charger.",
    ISOLATE,
)
MAGNETIC = (
    "Lay the audio leads away from transformers, plug-in supplies and mains leads; cross mains leads at right angles.",
    "Turn or move the device by half a metre and measure again.",
    "Try a shorter lead, and do not coil what is left over.",
)
RIPPLE = (
    "Try another supply of the same rating for the device, then for the source.",
    "Run the device without its supply, if it works without.",
    "If the device is old, have the capacitors of its supply tested by someone qualified.",
)
PULSES = (
    "Switch off dimmers and lamps with electronics in the room and on the same circuit, and measure again.",
    "Unplug small switching supplies (chargers) one at a time, and keep those that stay away from the audio leads.",
    "Feed source, device, display and recorder from one outlet strip of their own.",
)
SCREEN = (
    "Unplug and replug both ends of the lead, and measure again.",
    "Swap left and right: if the hum changes sides, replace the lead.",
    "Clean the sockets; check that each plug's shell grips.",
)
CONTACTS = (
    "Clean plugs and sockets with contact cleaner, everything switched off; move the plug a few times.",
    "Try another lead in the same socket, then the same lead in another: what clicks on goes with the faulty one.",
    "Turn the volume down before you switch over.",
)
CROSSTALK = (
    BLACK_PICTURE,
    "Use leads in which each audio line has its own screen, and keep audio and video leads apart.",
    "Check that the picture is terminated in 75 ohm once and only once.",
    "Try another port: the input farthest from the output is the hardest case.",
)
PICTURE_BLEED = (
    "Switch off the source at the other port and record the quiet section again: what goes came from its picture.",
    "Pull its picture lead alone, then its sound lead alone: the one that takes the buzz away carries it in.",
    "Use two ports that lie farther apart, and leads in which each audio line has its own screen.",
    "Check that every picture is terminated in 75 ohm once and only once, the other port's too.",
)
RETURN = (
    "Check that the shells of all picture and audio plugs make good contact, and that the leads' screens are whole.",
    "Carry the sound in a lead of its own, not in the lead that carries the picture.",
    ISOLATE,
)
DISPLAY = (
    "Move the audio leads and the device away from the display and its supply, and measure again.",
    "Try another display, or take the display off and measure again.",
)
MAINS_OR_PICTURE = (
    "Show a black picture and record the quiet section again: what goes is buzz, what stays is hum.",
    "Take the display off the bench altogether and record the quiet section again.",
    "Record a longer quiet section, 60 s or more: the mains wanders, a picture does not.",
)
DIGITAL = (
    "Try another USB socket, or a hub with a supply of its own, for the recorder.",
    "Run the computer on its battery, without its charger.",
    "Keep USB leads and the audio leads apart.",
    "Put an audio isolating transformer between device and recorder.",
)
OTHER_TONES = (
    "Unplug switching supplies and chargers one at a time, a short quiet take after each.",
    "Keep supplies, lamps and telephones away from the audio leads.",
)
HISS = (
    "Turn the source's own volume up and the amplifier's down, so that less of the hiss is raised.",
    "Try the device with its supply unplugged if it works without, or with another supply.",
)
LEVEL = (
    "Check that nothing else loads the output at the same time: a passive box shares the signal between its loads.",
    "Clean the contacts and try another lead.",
)
LOUDER = ("Match the levels before you compare by ear: of two alike the louder one is taken for the better one.",)
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
    "Check that the device has its supply and a picture: boxes that choose their input pass nothing without.",
    "Check that the port you play into is the one that is selected.",
)
