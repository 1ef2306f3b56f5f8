import pytest, os, threading
from PySide6.QtCore import QTimer, QObject, QThread
@pytest.mark.parametrize("n",range(12))
def test_a(surveyed,n): pass
