import time, gc, pytest, shiboken6
from pathlib import Path
from lapsebench.gui.window import MainWindow
@pytest.mark.parametrize("mode",["","resize","active","gc","resize active","resize active gc", "wait gc"])
def test_a(qtbot,mode):
    w=MainWindow()
    if "resize" in mode: w.resize(1280,800)
    w.show()
    if "active" in mode: w.activateWindow()
    if "wait" in mode: qtbot.waitExposed(w)
    w.open_paths([Path("/tmp/tiny")])
    qtbot.waitUntil(lambda: w.session.film_light is not None and not w.opener.busy,timeout=20000)
    w.close_now()
    shiboken6.delete(w)
    if "gc" in mode:
        del w; gc.collect()
