"""A recorded visit is heard again: each attack on its sound is found, and nothing honest is."""

import pytest

pytestmark = pytest.mark.slow("a visit is heard again")

KIND_OF = {
    "tone": {"tone"},
    "silence": {"silence"},
    "own voice": {"own voice"},
    "other words": {"otherwise", "not heard"},
    "nothing": {"not heard"},
    "copied": {"used again"},
    "copied and louder": {"used again"},
}


@pytest.mark.parametrize("attack", KIND_OF)
def test_each_attack_on_a_clip_is_found_at_its_entry(found, attacked, attack):
    kinds = {one.kind for one in found.findings if one.seq == attacked.entries[attack]}
    assert kinds & KIND_OF[attack], found.findings


def test_what_was_said_honestly_is_heard_as_recorded(found, attacked):
    assert not [one for one in found.findings if one.seq in attacked.honest]
    assert found.spoken == len(attacked.honest) + len(attacked.entries)
    assert found.alike == len(attacked.honest)


def test_the_sentence_counts_what_was_found(found):
    assert found.sentence.startswith(f"Heard again: {found.spoken} utterances. ")
    assert "a tone, no speech: 1" in found.sentence
