"""The pages: a Datasette plugin that reads the record and asks the daemon for what changes something.

    hooks     what Datasette calls: routes, menu, actor, template filters
    serve     Datasette over one database, read-only, on the loopback address or with a token on the network
    door      who may come in: hosts, origins, token; the headers of every answer
    labels    Datasette's own tables made useful: titles, columns with units, canned queries
    alone, first, learn    pages without a record: the way to the first job; a lesson, served by the command that learns
    sheet     one page: its data, its template, its strict headers
    jobs, job, capture, verdict, ...    one module a page

They ask the record through `record.reader`; what a job's record says in words, for pages and
paper alike, in `report`. The plugin is awake only where its configuration names a database
(`plugins: meterlog: database`).
"""
