"""A short run of the libFuzzer target. FUZZ_SECONDS=600 makes it long."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from tests.firmware import build

SHORT_RUNS = 6_000
SEED = 20_240_607


def seed_corpus(folder: Path) -> None:
    """The shared conversations' orders, so that the fuzzer begins with something that works."""
    from tests.protocol.conversation import all_conversations, sealed

    folder.mkdir()
    for conversation in all_conversations():
        lines = [sealed(">" + step.rest) for step in conversation.steps if step.verb == ">"]
        # a chain that fits the small build below, then the conversation's own orders
        (folder / conversation.name).write_bytes(
            b"\n".join([sealed(">00 setup 0 16 GRB 300 2000"), *lines, b""])[:4096]
        )
    # what must not restart the silence time of 5,000 ms: 3,584 ms, one of these, 1,792 ms (the events of fuzz_board.c)
    lit = b"\n".join(sealed(text) for text in (">00 light 0 3 101010", ">01 light 1 3 101010")) + b"\n"
    for name, line in (("hand", b"?"), ("damaged", b">02 alive*0000"), ("empty", b"")):
        (folder / name).write_bytes(lit + b"\xfc" + line + b"\n\xfb")


@pytest.mark.slow
def test_fuzz(tmp_path: Path) -> None:
    program = build.build_fuzzer({"PP_PIXELS": 40, "PP_OUTPUTS": 2})
    seed_corpus(tmp_path / "corpus")
    seconds = os.environ.get("FUZZ_SECONDS")
    limit = [f"-max_total_time={int(seconds)}"] if seconds else [f"-runs={SHORT_RUNS}", f"-seed={SEED}"]
    found = tmp_path / "found"
    done = subprocess.run(
        [str(program), *limit, "-max_len=2048", "-print_final_stats=1", f"-artifact_prefix={found}-",
         str(tmp_path / "corpus")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-4000:]
    assert "stat::number_of_executed_units" in done.stderr
