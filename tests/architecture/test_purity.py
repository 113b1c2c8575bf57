"""The analysis does no input or output: an audit hook sees files, sockets and processes.

The hook is blind to files that C libraries open by themselves.
"""

from tests.build_process import printed

# An audit hook cannot be taken away again, so it lives in a process of its own.
SCRIPT = """
import sys
from tests.build import FULL_LOG, a_plant

plants = [a_plant(days=4, step_s=600), a_plant(days=4, step_s=600, channels=FULL_LOG[:5])]
first = [plant.report() for plant in plants]  # imports and warms what is used

seen, listening = [], False
WATCHED = ("open", "socket.", "subprocess.", "os.", "shutil.", "tempfile.", "sqlite3.", "urllib.",
           "ctypes.dlopen", "import")

def hook(event, arguments):
    if listening and event.startswith(WATCHED):
        seen.append((event, str(arguments)[:200]))

sys.addaudithook(hook)
listening = True
again = [plant.report() for plant in plants]
if len(sys.argv) > 1:
    open(sys.argv[1], "w").close()
listening = False
assert again == first
for event in seen:
    print(event)
"""


def test_observing_and_assessing_touch_no_file_socket_or_process():
    assert printed(SCRIPT) == ""


def test_the_watch_sees_a_planted_write(tmp_path):
    assert "planted" in printed(SCRIPT, str(tmp_path / "planted"))
