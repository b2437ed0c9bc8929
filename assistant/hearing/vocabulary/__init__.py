"""The words in use, a site's own ones and how easily they are confused; entry `packs.py`. The words lie in
`packs/`."""
