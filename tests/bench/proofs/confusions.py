"""How the phone distance goes with what the recogniser confuses: python tests/bench/proofs/confusions.py [PAIRS].

Pairs of phrases are put into a grammar of those two and the hazard phrases, spoken by the voice, drowned in white
noise and heard. Shown by distance: how often one phrase was taken for the other. One synthetic voice: a ranking of
pairs, not what happens in a boiler room.
"""

import random
import sys
from collections import defaultdict

import numpy as np
from homophones import near_homophone

from handsfree.hearing.recogniser import SAMPLE_RATE, Recogniser
from handsfree.lexicon.automaton import phrases
from handsfree.lexicon.distance import phrase_distance
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.hearing import hearing_of, own_phrases
from handsfree.shipped import model_folder, procedure_path
from handsfree.speaking.voice import Voice, VoiceSettings

SNR_DB = (20, 10, 5)
EDGES = (0.5, 1.0, 1.5, 1.9, 2.5, 99.0)


def pairs(count, seed=1):
    procedure = load_procedure(procedure_path("two-rate-combustion"))
    words = hearing_of(procedure, english()).pronunciations
    own = sorted({t for p in procedure.gates.values() for t in own_phrases(procedure, p)})
    all_phrases = own + [t for texts in english().everywhere.values() for t in texts]
    dice = random.Random(seed)
    by_bin = defaultdict(list)
    candidates = [(a, b) for a in all_phrases for b in all_phrases if a < b]
    candidates += [(a, like) for a in all_phrases if (like := near_homophone(a))]
    dice.shuffle(candidates)
    for one, other in candidates:
        if not words.unknown((*one.split(), *other.split())):
            apart = phrase_distance(one.split(), other.split(), words)
            bin_ = next(edge for edge in EDGES if apart < edge)
            if len(by_bin[bin_]) < count:
                by_bin[bin_].append((apart, one, other))
    return by_bin


def main(count):
    recogniser, voice, noise = (
        Recogniser(model_folder(), Pronunciations()),
        Voice(VoiceSettings()),
        np.random.default_rng(1),
    )
    stops = [text for hazard in english().hazards.values() for text in hazard.heard]
    print("phones apart   pairs  " + "  ".join(f"{snr:>3} dB confused / lost" for snr in SNR_DB))
    low = 0.0
    for edge, found in sorted(pairs(count).items()):
        tally = {snr: [0, 0, 0] for snr in SNR_DB}
        for _, one, other in found:
            grammar = phrases([one, other, *stops]).automaton()
            for said, rival in ((one, other), (other, one)):
                clean = voice.render(said).at_rate(SAMPLE_RATE).samples.astype(float)
                wave = np.concatenate([np.zeros(5000), clean, np.zeros(5000)])
                for snr in SNR_DB:
                    level = np.sqrt(np.mean(clean**2)) / 10 ** (snr / 20)
                    noisy = wave + noise.normal(0, level, len(wave))
                    heard = recogniser.recognise(np.clip(noisy, -32768, 32767).astype("<i2").tobytes(), grammar)
                    text = " ".join(heard[0].text) if heard else ""
                    tally[snr][0] += text == rival
                    tally[snr][1] += text not in {said, rival}
                    tally[snr][2] += 1
        cells = "  ".join(
            f"{100 * wrong / total:6.1f} % / {100 * lost / total:5.1f} %" for wrong, lost, total in tally.values()
        )
        print(f"{low:4.1f} to {edge:4.1f}   {len(found):4}  {cells}", flush=True)
        low = edge
    voice.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
