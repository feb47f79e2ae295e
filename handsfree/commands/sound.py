"""The sound check: before a visit, and whenever the recogniser fails."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from handsfree.hearing.expectation import accuracy_of
from handsfree.hearing.microphone import Microphone, MicrophoneLost
from handsfree.hearing.sound_check import SoundLevels, advice, measure
from handsfree.hearing.sources import BLOCK_MS, SoundBlock, SoundFile, SoundSource
from handsfree.problem import ExitCode, Problem, one_line
from handsfree.shipped import model_folder
from handsfree.sound_card import devices

QUIET_S, SPEECH_S = 3.0, 5.0


app = typer.Typer(help="The microphone.")


@app.command()
def soundcheck(
    *,
    microphone: Annotated[
        str | None, typer.Option(help="The microphone's name, or a part of it. Without it: the system's default.")
    ] = None,
    file: Annotated[Path | None, typer.Option(help="Check a sound file in place of a microphone.")] = None,
    list_devices: Annotated[bool, typer.Option("--list", help="List the microphones and end.")] = False,
    model: Annotated[
        Path | None,
        typer.Option("--model", help="The speech model whose figures are looked up; ours when left out."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    enrol: Annotated[
        str,
        typer.Option(
            "--enrol",
            metavar="NAME",
            help="Read thirty numbers and ten calls once: the ears learn this voice and microphone. "
            "The name as it stands on the job sheet. It stays on this device.",
        ),
    ] = "",
    forget: Annotated[
        str, typer.Option("--forget", metavar="NAME", help="Delete what this person has enrolled here.")
    ] = "",
    enrolled: Annotated[bool, typer.Option("--enrolled", help="List who has enrolled a voice here.")] = False,
    silent: Annotated[bool, typer.Option("--silent", help="With --enrol: text only, no voice.")] = False,
) -> None:
    """Measure the noise and your voice, and say what to do about the microphone.

    During a visit too, in another terminal.
    """
    if enrol or forget or enrolled:
        _enrolment(enrol, forget, microphone, file, model, silent=silent)
        return
    if list_devices:
        names = [each.name for each in devices("input")]
        typer.echo(json.dumps(names) if as_json else "\n".join(names) or "There is no microphone.")
        return
    source: SoundSource = Microphone(microphone) if file is None else SoundFile(file)
    levels = measure(_asked_for(source, silent=as_json) if file is None else source.blocks())
    told = advice(levels)
    accuracy = accuracy_of(model or model_folder())
    ratio_db = levels.above_noise_db
    expected = None if accuracy is None or ratio_db is None else accuracy.shares(ratio_db)
    if as_json:
        shares = None if expected is None else {kind: f"{share:.3f}" for kind, share in expected.items()}
        typer.echo(json.dumps({**asdict(levels), "usable": levels.usable, "advice": told, "expected": shares}))
    else:
        typer.echo("\n".join([*_figures(levels), *told]))
        if accuracy is not None and ratio_db is not None:
            typer.echo(accuracy.sentence(ratio_db) if levels.usable else accuracy.warning(ratio_db))
    if not levels.usable:
        raise typer.Exit(ExitCode.FAILED)


def _enrolment(
    enrol: str, forget: str, microphone: str | None, file: Path | None, model: Path | None, *, silent: bool
) -> None:
    from handsfree.commands import voices  # noqa: PLC0415 - a sound check needs none of it

    if enrol and forget:
        raise Problem(
            "a voice is read or forgotten, not both", where="--enrol, --forget", remedy="give one of them"
        )
    if forget:
        typer.echo(one_line(voices.forget(forget)))
    elif enrol:
        from handsfree.commands.reading_in import read_in  # noqa: PLC0415 - loads the recogniser

        source: SoundSource = Microphone(microphone) if file is None else SoundFile(file)
        called = voices.microphone_named(microphone) if file is None else source.name
        read_in(one_line(enrol), source, called, model or model_folder(), silent=silent or file is not None)
    else:
        typer.echo("\n".join(map(one_line, voices.listed())))


def _asked_for(source: SoundSource, *, silent: bool) -> Iterator[SoundBlock]:
    """Yield the blocks of the two parts, telling what to do in each."""
    steps = {0.0: "Keep quiet.", QUIET_S: 'Say: "nine point three, four hundred, stop work".'}
    try:
        for number, block in enumerate(source.blocks()):
            at_s = number * BLOCK_MS / 1000
            if at_s >= QUIET_S + SPEECH_S:
                return
            if at_s in steps and not silent:
                typer.echo(steps[at_s])
            yield block
    except MicrophoneLost as lost:
        raise Problem(f'the microphone "{source.name}" was lost: {lost}', remedy="check its plug") from lost


def _figures(levels: SoundLevels) -> list[str]:
    told = [f"Noise  {levels.noise_db:6.1f} dB of full scale"]
    if levels.speech_db is not None and levels.above_noise_db is not None:
        told += [
            f"Voice  {levels.speech_db:6.1f} dB of full scale",
            f"Ratio  {levels.above_noise_db:6.1f} dB",
        ]
    return told
