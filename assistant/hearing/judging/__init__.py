"""Whether what was recognised is believed; entry `judge.py`. Lowering a bar here can confirm what nobody
said."""
