"""An independent simulator of star frames, for asking the program about a reality that differs from the typed file.

Run it in `tests/references`: `python -m world --help`. Only `judge` and `loop` run the program, and only to ask it.

    telescopes.py   the invented telescopes          outline.py    where light passes: aperture, obstruction, vanes, masks
    grid.py         the pupil over direction cosines wavefront.py  Noll's polynomials, exact defocus
    light.py        wavelengths to samples           seeing.py     what the atmosphere, drift and shake take away
    camera.py       electrons to counts              files.py      frames, scenario and truth on disk
    screws.py       turns to coma, and the hand      scene.py      all of it: one world to one frame
    differences.py  the ways in which reality differs: differs_typed.py, differs_seen.py, kept in registry.py
    draw.py         worlds from seeds, by suite      check.py      the simulator against laws and other libraries
    make.py         worlds to files                  ask.py        runs the program, reads its reports
    judge.py        the program's answers            loop.py       closed loops with the program
"""
