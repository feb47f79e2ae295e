"""Several recognisers of one utterance: the arithmetic of their mean, and real ones on people's words."""

from handsfree.hearing.ensemble import mean_of


def sentence(words: str, score: float, start: float = 0.0):
    return {
        "confidence": score,
        "result": [{"word": word, "start": start, "end": start + 0.3} for word in words.split()],
    }


def test_a_sentence_scores_the_mean_and_what_one_does_not_list_counts_as_far_behind():
    """Worked by hand: nine (5 + 1) / 2; five (4 + 6) / 2; silence, unheard by the second, (3 + 6 - 10) / 2."""
    first = [sentence("nine", 5.0), sentence("five", 4.0), sentence("", 3.0)]
    second = [sentence("five", 6.0), sentence("nine", 1.0)]
    found = [
        (" ".join(word["word"] for word in one["result"]), one["confidence"]) for one in mean_of([first, second])
    ]
    assert found == [("five", 5.0), ("nine", 3.0), ("", -0.5)]


def test_the_times_are_those_of_the_first_that_heard_it():
    merged = mean_of([[sentence("two", 1.0, 0.5)], [sentence("two", 9.0, 0.7), sentence("oh", 3.0, 0.8)]])
    assert [one["result"][0]["start"] for one in merged] == [0.5, 0.8]


def test_one_opinion_is_left_as_it_is():
    alone = [sentence("nine", 5.0), sentence("", 3.0)]
    assert mean_of([alone]) == alone


def test_no_opinion_is_none():
    assert mean_of([[], []]) == []
