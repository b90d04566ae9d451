"""A motor with a memory, hands that wind it and a meter that speaks wire bytes: for practice and for tests. Pure."""
