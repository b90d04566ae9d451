"""Sound: `session.view` → a tone, cues and spoken prompts, for hands that are busy and eyes that look elsewhere."""
