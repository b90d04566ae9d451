"""Sound: `session.view` → a tone, cues and spoken prompts, for hands that are busy and eyes that look elsewhere.

`hearing` decides what is to be heard, `voice` makes samples of it, `playing` joins the two; `device`, `bell`, `speech`
and `wave_file` bring it out. Nothing is heard that cannot be seen as well.
"""
