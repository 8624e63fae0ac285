"""What the learned part of piece finding is taught with: many small, cheap renders of pieces
on a tray seen straight from above (the tray plane itself is the film), and a small network
that says for each spot what it shows, where its piece's middle is, how it lies and which it is.

    python -m studio.learn make DIR --count 400 --seed 1     # training scenes (see `make`)
    python -m studio.learn fall FILE --count 1000            # falls for `make --falls`, where Bullet is not at hand
    python -m studio.learn train DIR RUN --minutes 30        # best on a GPU, while `make` adds to DIR
    python -m studio.learn check RUN --photos DIR            # how well it does
    python -m studio.learn export RUN WEIGHTS REFERENCE      # for the program
    python -m studio.learn blend FIRST SECOND 0.4 WEIGHTS REFERENCE     # between two trainings

The frame of all of it: x to the right, y down, z up from the tray, millimetres: seen from
above as the picture shows it. (That is a mirror image of a right-handed world; pieces are
their own mirror images, so nothing comes of it. Only a corner's turn is told by the way to the
cell that it lacks, not by its long side, which a mirror would make the other one.)
"""
