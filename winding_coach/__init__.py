"""A live coach for winding rubber motors. The rooms, in the order that the data walk through them:

units, inputs   quantities at the edges; everything that can happen
meter           bytes to frames to calibrated samples
signals         torque to rate, crank and events
rubber          what a motor can take: law, plan
coach           phases, prompts, alarms: what to say now
simulator       a motor, hands and a meter that are not there
review          what happened in a wind, and how well it was wound
traces          one wind, one file
sources         serial port, replay, practice: the only rooms that know the time
session         the one loop: read, record, step, publish
screen          looks at session.view; command_line joins the parts
"""

__version__ = "0.1.0"
