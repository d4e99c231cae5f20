"""What is wrong with how an InfluxDB server is set up, told by its answer, and what helps."""

NO_ORGANISATION = "Please provide either orgID or org"
_LET_IT_READ = "give the token the right to read it"
_MAP = "make a bucket of the database's name, or map the database to one (influx v1 dbrp create --default)"
_BY_TEXT = (
    (NO_ORGANISATION, "name the server's organisation in the plant file: 'history: {influx: {organisation: ...}}'"),
    ("organization name", "'organisation' in the plant file must be one that the server has"),
    (
        "page not found",
        "a server before 1.8 has no v2 write path: say 'writes: v1' in the plant file, and check the address",
    ),
    (
        r"bucket \"",
        "make a bucket of that name (influx bucket create), or name another by 'database' in the plant file; "
        "after an upgrade from version 1, whose bucket is 'NAME/autogen', say 'writes: v1'",
    ),
    (
        "database not found",
        f"make it (version 1: CREATE DATABASE; version 2: a bucket of that name) and {_LET_IT_READ}",
    ),
    ("dbrp mapping", _MAP),
    ("default retention policy not set", f"{_MAP}, and {_LET_IT_READ}"),
    (
        "outside retention policy",
        "let the bucket keep everything for ever (retention 0): coldside itself drops what the plant file says is old",
    ),
)
_BY_STATUS = {
    401: "the server does not know the token (or user and password) that the plant file names",
    403: "give the token the right to read and to write the bucket",
}


def remedy(text: str, status: int = 200) -> str:
    """A clause that begins with `; `, or nothing where the answer speaks for itself."""
    found = next((helps for words, helps in _BY_TEXT if words in text), _BY_STATUS.get(status, ""))
    return f"; {found}" if found else ""
