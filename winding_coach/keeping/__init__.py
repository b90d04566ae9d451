"""What is kept, worked over as a whole: indexed, recomputed, merged, saved, replayed."""
