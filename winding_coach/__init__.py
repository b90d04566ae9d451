"""A live coach for winding rubber motors. The rooms, in the order that the data walk through them:

units, inputs   quantities at the edges; everything that can happen
standing        where to stand, in a person's own unit
meter           bytes to frames to calibrated samples
signals         torque to rate, crank and events
rubber          what a motor can take: law, plan
coach           phases, prompts, alarms: what to say now
simulator       a motor, hands and a meter that are not there
traces          one wind, one file
sources         serial port, replay, practice: the only rooms that know the time
session         the one loop: read, record, step, publish
replaying       a trace to the coach's settings, and what it would say now
screen, sound   look at and listen to session.view
review          what happened in a wind, in a season, and how well it was wound; advice
report          pictures and pages of that
shelf           what has a name, winds and flights, in one file
indexing, recomputing, saving, merging    traces to the shelf; copies out and in
system          what differs from system to system: signals, disk, replacing a file
errors          one tree of exceptions
values          dataclasses made at every sample, which nothing may change
private         files that only their user can read, replaced whole or not at all
api             for programs of others: a saved wind as arrays
command_line    one module a command; joins the parts
"""

__version__ = "0.1.0"
