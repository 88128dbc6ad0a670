"""``humcheck record``: play a track and record what comes back, or record alone."""

from __future__ import annotations

import argparse

from humcheck.cli.options import add_measuring_options, positive_number


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to `commands`."""
    parser = commands.add_parser(
        "record",
        help="play a track and record it, or record alone (needs the extra 'record')",
        description="Record from a sound card, if wanted while it plays a track, show the level meanwhile, and say at "
        "once whether the take is fit to be used. Start low, and keep headphones and loudspeakers off while the track "
        "plays. Without --play and --seconds it records until Ctrl-C.",
    )
    parser.add_argument("take", nargs="?", metavar="TAKE.wav", help="file to record into")
    parser.add_argument("--play", metavar="TRACK.wav", help="track to play meanwhile")
    parser.add_argument(
        "--device", metavar="NAME", help="device to record from and play to: number, name or part of it"
    )
    parser.add_argument("--play-device", metavar="NAME", help="device to play to, if it is another one")
    parser.add_argument("--list", action="store_true", help="list the devices")
    parser.add_argument("--seconds", type=positive_number, metavar="S", help="how long to record, without --play")
    parser.add_argument(
        "--rate", type=int, metavar="HZ", help="sampling rate (default: that of the track, or of the device)"
    )
    parser.add_argument("--channels", type=int, choices=(1, 2), help="channels to record (default: 2 if there are two)")
    parser.add_argument("--force", action="store_true", help="replace an existing take")
    add_measuring_options(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Record a take, say what became of it, return the exit status."""
    if arguments.list:
        return _list()
    from humcheck.cli import record_words
    from humcheck.cli.options import measuring_settings
    from humcheck.cli.record_course import record_take

    _check_call(arguments)
    settings = measuring_settings(arguments)
    take = record_take(arguments)
    print(record_words.after(arguments.take, take), flush=True)
    return record_words.judge(arguments.take, take, settings, played=arguments.play)


def _list() -> int:
    from humcheck.cli.record_words import device_table
    from humcheck.errors import EXIT_DONE
    from humcheck.soundcard import list_devices

    print(device_table(list_devices(with_rates=True)))
    return EXIT_DONE


def _check_call(arguments: argparse.Namespace) -> None:
    import os

    from humcheck.audio.writing import refuse_to_overwrite
    from humcheck.errors import UnusableCall

    if arguments.take is None:
        raise UnusableCall("no file to record into is named", remedy="name one that ends in .wav, or give --list")
    if not arguments.take.lower().endswith(".wav"):
        raise UnusableCall("takes are written as WAV files", where=arguments.take, remedy="end the name in .wav")
    if arguments.play is not None and arguments.seconds is not None:
        raise UnusableCall("with --play the track decides how long is recorded", remedy="leave --seconds out")
    if arguments.play is not None and os.path.realpath(arguments.play) == os.path.realpath(arguments.take):
        raise UnusableCall("is the track that is played", where=arguments.take, remedy="choose another name")
    if arguments.rate is not None and not 8000 <= arguments.rate <= 192000:
        raise UnusableCall(
            f"{arguments.rate} Hz is no usable sampling rate", remedy="give --rate 44100, 48000 or 96000"
        )
    refuse_to_overwrite(arguments.take, force=arguments.force)
    if os.path.exists(arguments.take) and not arguments.force:
        # Made by this tool or not: the box that it was made of may be long gone.
        raise UnusableCall(
            "is a take already", where=arguments.take, remedy="choose another name, or add --force to record it anew"
        )
