from tutor.base.text import counted


def test_words_agree_with_the_number():
    assert [counted(number, "new answer") for number in (0, 1, 2)] == ["0 new answers", "1 new answer", "2 new answers"]
    assert counted(1, "line has", "lines have") == "1 line has"
    assert counted(2, "line has", "lines have") == "2 lines have"
