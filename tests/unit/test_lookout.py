"""One look over all sites serves many claims, and nothing that waits is lost sight of."""

from service.jobs.lookout import Lookout


class Waiting:
    """Tasks by number, and how often somebody looked for them."""

    def __init__(self, *numbers: int) -> None:
        self.numbers = list(numbers)
        self.looks = 0

    def look(self, most: int) -> list[int]:
        self.looks += 1
        return self.numbers[:most]

    def do(self, numbers: list[int]) -> None:
        for number in numbers:
            self.numbers.remove(number)


def test_a_thousand_claims_want_few_looks():
    tasks = Waiting(*range(1000))
    lookout = Lookout(tasks.look)
    while lookout.waiting(1):
        tasks.do(lookout.next(1))
    assert tasks.numbers == []
    assert tasks.looks == 6  # 200 at a time, and one that finds nothing


def test_more_is_looked_for_when_more_is_asked_for_than_is_known_of():
    tasks = Waiting(*range(300))
    lookout = Lookout(tasks.look)
    assert lookout.waiting(48) == 48
    tasks.do(lookout.next(190))
    assert lookout.waiting(48) == 48
    assert lookout.next(3) == [190, 191, 192]


def test_near_the_end_no_look_is_made_for_what_is_not_there():
    tasks = Waiting(*range(10))
    lookout = Lookout(tasks.look)
    assert lookout.waiting(48) == 10
    tasks.do(lookout.next(4))
    assert lookout.waiting(48) == 6
    assert tasks.looks == 1


def test_what_came_since_is_seen_once_the_rest_is_used_up():
    tasks = Waiting(1, 2)
    lookout = Lookout(tasks.look)
    assert lookout.waiting(1) == 1
    tasks.do(lookout.next(1))
    tasks.numbers.append(3)
    tasks.do(lookout.next(1))
    assert lookout.waiting(1) == 1
    assert lookout.next(8) == [3]


def test_each_is_given_once_between_two_looks():
    lookout = Lookout(Waiting(7, 8).look)
    assert lookout.waiting(2) == 2
    assert lookout.next(1) + lookout.next(8) == [7, 8]
    assert lookout.next(8) == []
