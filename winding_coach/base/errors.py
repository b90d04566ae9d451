"""One tree of exceptions: whoever uses the package as a library catches `CoachError`, or what lies below it.

    CoachError                 whatever this package raises on purpose
      WrongFigures             what was given cannot be (also ValueError)
        QuantityError          a text that is no quantity
        FiguresError           a motor, winder, model or plan that cannot be
        FitError               weighings that make no calibration
        FaultError             a fault of the simulated meter that was not written as one
        LabelError             labels that cannot be made
      WrongFile                a file that cannot be used as what it was named for
        TraceError             no trace, or not one that can be coached again (also ValueError)
        CalibrationError       no calibration (also ValueError)
        ShelfError             no shelf, a damaged one, or one that cannot do it
        SavingError            a backup that cannot be made or is not sound
      SimulatedMeterError      the simulated meter does not start (also OSError)
      NoSoundError             no sound card, or no library for one
      NoPlots                  PNG needs an extra that is not installed
      TraceMissing             an export of readings that are not there
      GivenUpError             the work goes on by itself, and nobody waits
      Problem                  what ends a command: one sentence, exit status 1
        UsageProblem           typed wrongly, exit status 2

A port's troubles are no exceptions but values (`inputs.LinkDown`), and what a person does wrong in a wind is advice.
A test holds this drawing against the classes.
"""

from __future__ import annotations


class CoachError(Exception):
    """Whatever this package raises on purpose. Its text is one sentence that says what is wrong."""


class WrongFigures(CoachError, ValueError):
    """What was given cannot be: a quantity, a motor, weighings, a fault, a label."""


class WrongFile(CoachError):
    """A file or folder that cannot be used as what it was named for."""
