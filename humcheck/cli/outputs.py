"""What commands leave behind: a summary on the terminal, a page, a results file."""

from __future__ import annotations

import argparse
import os
import shlex
import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, TextIO

from humcheck.errors import EXIT_DONE, EXIT_UNUSABLE, HumcheckError, UnusableCall, printable, storable
from humcheck.results import RESULTS_MARK, Results, results_to_json

if TYPE_CHECKING:
    from humcheck.evidence import Excerpts


def publish(
    results: Results,
    *,
    problems: Sequence[HumcheckError] = (),
    html_path: str | None,
    json_path: str | None,
    force: bool,
    command: str | None = None,
    excerpts: Excerpts | None = None,
    sounds: Mapping[str, bytes] | None = None,
    figures: str | None = None,
) -> int:
    """Write what was asked for, print the summary, and return the exit status.

    `command` is the one that measured; saved results name their own. With ``json_path`` of ``-`` the results go to
    standard output and the summary to standard error. Files that could not be used are told last; the others were
    measured all the same. New excerpts go into the page, and into a folder beside the results file if there is one;
    `sounds` are those that saved results name. The folder for publishing, `figures`, is checked before anything is
    written.
    """
    from humcheck.audio.writing import write_whole

    if command is not None:
        import msgspec

        results = msgspec.structs.replace(results, commands=[command])
    to_standard_output = json_path == "-"
    saved_path = None if to_standard_output else json_path
    piped = results  # nothing lies beside what goes down a pipe
    written = []
    beside = saved_path or html_path
    if excerpts is not None and beside is not None:
        from humcheck.evidence import folder_name, with_excerpts

        results, sounds = with_excerpts(results, excerpts, folder_name(beside))
    publication = None
    if figures is not None:
        from humcheck.report.publish import publication_of

        publication = publication_of(results, sounds=sounds)
        publication.refuse(figures, force=force)
    if html_path is not None:
        from humcheck.report.page import render_page

        write_whole(html_path, render_page(results, sounds=sounds), force=force)
        written.append(html_path)
    if saved_path is not None:
        if excerpts is not None:
            from humcheck.evidence import write_folder

            folder = write_folder(excerpts, saved_path, force=force)
            written += [] if folder is None else [str(folder)]
        write_whole(saved_path, results_to_json(results), force=force, mark=RESULTS_MARK)
        written.append(saved_path)
    if publication is not None and figures is not None:
        publication.write(figures, force=force)
        written.append(figures)
    if to_standard_output:
        sys.stdout.write(results_to_json(piped))
    stream = sys.stderr if to_standard_output else sys.stdout
    print_summary(results, stream, has_report=html_path is not None)
    for path in written:
        print(f"written: {printable(path)}", file=stream)
    for problem in problems:
        print(f"humcheck: {problem.sentence()}", file=sys.stderr)
    return EXIT_UNUSABLE if problems else EXIT_DONE


def require_writable(
    html_path: str | None,
    json_path: str | None,
    *,
    force: bool,
    inputs: Sequence[str] = (),
    figures: str | None = None,
) -> None:
    """Raise before any work is done if an output could not be written in the end, or would replace an input."""
    from humcheck.audio.writing import refuse_to_overwrite

    outputs = [path for path in (html_path, json_path) if path not in (None, "-")]
    taken = {os.path.realpath(path) for path in inputs}
    for path in outputs:
        if os.path.realpath(path) in taken:
            raise UnusableCall("is read or written by this call already", where=path, remedy="choose another name")
        taken.add(os.path.realpath(path))
    if html_path is not None:
        refuse_to_overwrite(html_path, force=force)
    if figures is not None:
        from humcheck.report.publish import refuse_place

        refuse_place(figures, force=force)
    if json_path is not None and json_path != "-":
        from humcheck.evidence import folder_name, refuse_folder

        refuse_to_overwrite(json_path, force=force, mark=RESULTS_MARK)
        refuse_folder(json_path, force=force)
        folder = os.path.realpath(os.path.join(os.path.dirname(json_path), folder_name(json_path)))
        for path in inputs:
            if os.path.dirname(os.path.realpath(path)) == folder:
                raise UnusableCall(
                    "lies in the folder that this call writes excerpts into",
                    where=path,
                    remedy="choose another name with --json",
                )


def print_summary(results: Results, stream: TextIO | None = None, *, has_report: bool = True) -> None:
    """Print the findings and the main figures."""
    from humcheck.report.terminal import print_results

    print_results(results, stream or sys.stdout, has_report=has_report)


def reproduce_command(arguments: argparse.Namespace) -> str:
    """Return the command line that repeats this run, as typed but for the folders of absolute paths.

    A page is published; where somebody keeps recordings is nobody's business.
    """
    words = [os.path.basename(word) if os.path.isabs(word) else word for word in sys.argv[1:]]
    return storable(shlex.join(["humcheck", *(words or [arguments.command])]))
