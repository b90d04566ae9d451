"""A live coach for winding rubber motors. The rooms, in the order that the data walk through them:

base            quantities at the edges, everything that can happen, where to stand; errors, files, the system
meter           bytes to frames to calibrated samples; a meter made fit for use
signals         torque to rate, crank and events
rubber          what a motor can take: law, plan
coach           phases, prompts, alarms: what to say now
simulator       a motor, hands and a meter that are not there
traces          one wind, one file
live            the one loop: read, record, step, publish; serial port, replay, practice, the rooms that know the time
screen, sound   look at and listen to the loop's view
review          what happened in a wind, in a season, and how well it was wound; advice
report          pictures and pages of that
shelf           what has a name, winds and flights, in one file
keeping         traces to the shelf; replayed and recomputed; copies out and in
api             for programs of others: a saved wind as arrays
app             what commands have in common and needs no command line
cli             one module a command; joins the parts
"""

__version__ = "0.1.0"
