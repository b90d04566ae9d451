"""The shelf: batches, motors, winders, models, people, meters, winds and flights, kept in one SQLite file.

`records` are what goes in and comes out (frozen, SI); `store` is the way to them (`Shelf`, `WindFilter`); `index`
what comes from traces, `schema` the file and its migrations, `tables` rows and records; `flying` and `season` make
figures of them. The traces are the record of a wind; its row here is an index
that can be made again from them.
"""
