from rig.page.turn import Turn


def test_the_first_phone_acts_and_the_second_watches() -> None:
    turn = Turn()
    turn.come("a", 0.0)
    turn.come("b", 1.0)
    assert turn.phones == 2
    assert turn.acts("a", 1.0)
    assert not turn.acts("b", 1.0)


def test_any_phone_can_take_over() -> None:
    turn = Turn()
    turn.come("a", 0.0)
    turn.come("b", 1.0)
    turn.take("b")
    assert turn.acts("b", 2.0)
    assert not turn.acts("a", 2.0)


def test_a_phone_that_comes_back_soon_acts_again() -> None:
    turn = Turn()
    turn.come("a", 0.0)
    turn.come("b", 0.0)
    turn.go("a", 1.0)
    assert not turn.acts("b", 15.0)
    turn.come("a", 15.0)
    assert turn.acts("a", 100.0)
    assert not turn.acts("b", 100.0)


def test_a_turn_that_nobody_has_had_for_a_while_is_free() -> None:
    turn = Turn()
    turn.come("a", 0.0)
    turn.come("b", 0.0)
    turn.go("a", 1.0)
    assert turn.acts("b", 30.0)
    turn.come("a", 31.0)
    assert not turn.acts("a", 31.0)


def test_a_phone_with_two_sockets_is_one_phone() -> None:
    turn = Turn()
    turn.come("a", 0.0)
    turn.come("a", 0.1)
    turn.come("b", 0.1)
    assert turn.phones == 2
    turn.go("a", 1.0)
    assert turn.phones == 2
    assert not turn.acts("b", 60.0)
