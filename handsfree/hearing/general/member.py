"""Makes the general recogniser ready behind the scenes, so that listening need not wait for it."""

from __future__ import annotations

import sys
import threading

from handsfree.hearing.general.judging import GeneralScorer
from handsfree.hearing.general.pieces import Pieces
from handsfree.hearing.general.weights import GeneralPlan
from handsfree.lexicon.pronunciation import Pronunciations


class GeneralMember:
    """The member of an ensemble that comes a second or two later than the others; until then it says nothing."""

    def __init__(self, plan: GeneralPlan, pronunciations: Pronunciations | None = None) -> None:
        self._plan, self._pronunciations = plan, pronunciations
        self._scorer: GeneralScorer | None = None
        self._loading = threading.Thread(target=self._load, name="general ears", daemon=True)
        self._loading.start()

    def scorer(self) -> GeneralScorer | None:
        """Return it when it is ready."""
        return self._scorer

    def wait(self) -> GeneralScorer:
        """Return it as soon as it is ready; RuntimeError when it cannot be made."""
        self._loading.join()
        if self._scorer is None:
            message = "the general recogniser could not be loaded"
            raise RuntimeError(message)
        return self._scorer

    def _load(self) -> None:
        try:
            self._scorer = self._made()
        except Exception as fault:  # noqa: BLE001 - whatever the library finds wrong with the files
            sys.stderr.write(f"The general recogniser cannot be used ({fault}); hearing goes on without it.\n")

    def _made(self) -> GeneralScorer:
        from handsfree.hearing.general.network import GeneralNetwork  # noqa: PLC0415 - loads a native library

        folder = self._plan.folder
        network = GeneralNetwork(
            folder.path / "encoder_model.ort", folder.path / "decoder_model_merged.ort", self._plan.threads
        )
        pieces = Pieces((folder.path / "tokenizer.bin").read_bytes())
        return GeneralScorer(
            network,
            pieces,
            self._plan.numbers,
            folder.identity,
            self._plan.cries,
            orders=self._plan.orders,
            pronunciations=self._pronunciations,
        )
