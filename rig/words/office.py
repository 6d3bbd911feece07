"""What is said of a company's office: its place, its shelf, its books."""

from collections.abc import Sequence

from rig.words import join, say, say_many

_SHORT = 12


def short(content: str) -> str:
    """Return the beginning of a name on the shelf, enough to know it by."""
    return content[:_SHORT]


def which_office() -> str:
    """Say that no office was named."""
    return say("Say which office: --office PLACE, or set RIG_OFFICE.")


def no_office(given: str) -> str:
    """Say that there is no such folder."""
    return say(
        "There is no office at {place}: it is not made by itself. Make the folder, as "
        "bash tools/office {place} does.",
        place=given,
    )


def no_place(given: str) -> str:
    """Say what a place can be."""
    return say("{place} is no place for an office; give a folder, or s3://bucket/folder.",
               place=given)  # fmt: skip


def refused(given: str) -> str:
    """Say that the store did not let in."""
    return say("{place} does not let this account in; see its keys and their rights.", place=given)


def not_reached(given: str) -> str:
    """Say that the store does not answer."""
    return say("{place} cannot be reached or used now; the jobs are as they were.", place=given)


def missing(library: str, extra: str) -> str:
    """Say which extra an office needs."""
    return say(
        "This needs {library}, which comes with floor-rig[{extra}]: bash tools/setup {extra}",
        library=library,
        extra=extra,
    )


def damaged(content: str) -> str:
    """Say that a file on the shelf is not what its name says."""
    return say("{name} on the shelf is damaged: hand that job in again.", name=short(content))


def gone(content: str) -> str:
    """Say that a file is not on the shelf."""
    return say("{name} is not on the shelf.", name=short(content))


def handed_in(job: str, content: str, was_there: bool) -> str:
    """Say that a job was brought."""
    if was_there:
        return say("{job}: was there already, as {name}.", job=job, name=short(content))
    return say("{job}: handed in as {name}.", job=job, name=short(content))


def taken(jobs: int, there: int) -> str:
    """Say what came into the books."""
    new = say_many("{count} job version taken", "{count} job versions taken", jobs)
    return say("{new}, {there} there already.", new=new, there=there)


def forks(uids: Sequence[str]) -> str:
    """Name jobs of which two copies were gone on with."""
    return say(
        "Gone on with in two copies, and counted once, by the longer one: {jobs}. Look at both: "
        "rig office out UID --version CONTENT.",
        jobs=", ".join(uids),
    )


def damaged_ones(contents: Sequence[str]) -> str:
    """Name files on the shelf that are damaged."""
    return say(
        "Damaged on the shelf, and not in the books: {names}. Hand those jobs in again.",
        names=", ".join(map(short, contents)),
    )


def checked(files: int) -> str:
    """Say how many files were looked at."""
    return say_many("{count} file on the shelf.", "{count} files on the shelf.", files)


def missing_ones(contents: Sequence[str]) -> str:
    """Name what the books have and the shelf has not."""
    return say(
        "In the books, and not on the shelf: {names}. Hand those jobs in again.",
        names=", ".join(map(short, contents)),
    )


def waiting(count: int) -> str:
    """Say how many files are not in the books yet."""
    return say_many(
        "{count} file is not in the books yet: rig office take",
        "{count} files are not in the books yet: rig office take",
        count,
    )


def no_books() -> str:
    """Say that nothing was taken yet."""
    return say("The books hold no job yet: rig office take")


def no_job(uid: str) -> str:
    """Say that there is no job of that identity."""
    return say("There is no job {uid} in the books; rig office take looks at the shelf.", uid=uid)


def no_version(version: str) -> str:
    """Say that a job has no such version."""
    return say("There is no version {version} of that job on the shelf.", version=version)


def one_customer() -> str:
    """Say that a customer's file goes with one job."""
    return say("--with-customer goes with one job: hand the others in by themselves.")


def too_much() -> str:
    """Say that a customer's file is no short one."""
    return say("is too large to be about a customer.")


def given(file: str) -> str:
    """Say that a job file was given back."""
    return say("Given back as {file}, as it was handed in.", file=file)


def there_is_one(file: str) -> str:
    """Say that a file is in the way."""
    return say("There is a file {file} already: it is left as it is.", file=file)


def which_version(versions: Sequence[str]) -> str:
    """Say that the beginning of a name fits several versions."""
    return say("Several versions begin so: {names}.", names=", ".join(map(short, versions)))


def no_question(key: str, known: Sequence[str]) -> str:
    """Name the questions that there are."""
    return say("There is no question {key}. The questions are: {known}.",
               key=repr(key), known=", ".join(known))  # fmt: skip


def sql_is() -> str:
    """Say what a question of one's own is."""
    return say("a question of your own is SQL over the view job")


def bad_sql(path: str, why: str) -> str:
    """Say why SQL cannot be run."""
    return say("{file} cannot be asked: {why}", file=path, why=why)


def no_database() -> str:
    """Say how a database's address is written."""
    return say("Write where the database is as postgresql://user@host:5432/database")


def password_in_address() -> str:
    """Say where a password belongs."""
    return say(
        "A password in an address is seen by every program of this machine: leave it out, and set "
        "PGPASSWORD or write it into ~/.pgpass."
    )


def database_not_reached(host: str, database: str) -> str:
    """Say that a database does not answer or does not let in."""
    return say(
        "The database {database} at {host} cannot be reached, or does not let this account in.",
        database=database,
        host=host or "localhost",
    )


def database_not_used(database: str, reason: str) -> str:
    """Say that a database does not do what it is asked."""
    return say("The database {database} cannot be used: {reason}", database=database,
               reason=reason)  # fmt: skip


def only_named() -> str:
    """Say that SQL of one's own is asked of the books themselves."""
    return say("--at goes with a question by its key; SQL of your own is asked of the books here.")


def stand(jobs: int, as_of: str) -> str:
    """Say how many jobs an answer is of, and as of when."""
    return say_many(
        "{count} job in the books, as of {as_of}.", "{count} jobs in the books, as of {as_of}.",
        jobs, as_of=as_of,
    )  # fmt: skip


QUESTIONS = (
    say("Bags used against bags stated at even odds"),
    say("How often a job ran short of the bags that were to be bought, and what was left over"),
    say("How often the need stayed within what the plan said it would at its confidence"),
    say("Each laser's checks over time, and the check that is due next"),
    say("How far set markers stand from their height"),
    say("Verdicts on flatness before and after the pour, by rule"),
    say("Time from batch to batch against the plan's"),
)
"""What the questions of `rig/office/questions/questions.toml` tell, for translators to find."""


def question(text: str) -> str:
    """Say what a question tells."""
    return say(text)


def column(name: str) -> str:
    """Return what a column of an answer is called."""
    return name.replace("_", " ")


def nothing_yet(title: str) -> str:
    """Say that no job tells anything of a question."""
    return say("{question}: no job in the books tells of it yet.", question=title or "–")


def and_more(rows: int) -> str:
    """Say that more rows are left out."""
    return say_many("{count} more row, in --json.", "{count} more rows, in --json.", rows)


def expected(p50: str, low: str, high: str, crew: int, product: int) -> str:
    """Say what the next job takes by the past."""
    return say(
        "The next job takes {p50} of the bags stated at even odds, {low} to {high} at 95 %, by "
        "{crew} of this crew and {product} with this product.",
        p50=p50, low=low, high=high,
        crew=say_many("{count} job", "{count} jobs", crew),
        product=say_many("{count} job", "{count} jobs", product),
    )  # fmt: skip


def spreads(crew: str, product: str, job: str) -> str:
    """Say how crews, products and jobs differ."""
    return say(
        "Crews differ by {crew}, products by {product}, one crew's jobs by {job} (one standard "
        "deviation).",
        crew=crew, product=product, job=job,
    )  # fmt: skip


def expected_pace(p50: str, low: str, high: str, pours: int, others: int) -> str:
    """Say how fast the next pour's hands are by the past."""
    return say(
        "Its hands take {p50} of the time that plans begin with, {low} to {high} at 95 %, by "
        "{pours} of this crew and {others} of others.",
        p50=p50, low=low, high=high,
        pours=say_many("{count} pour", "{count} pours", pours),
        others=str(others),
    )  # fmt: skip


def older_books() -> str:
    """Say that the books were made by an older version."""
    return say("These books were made by an older version: rig office take makes them anew.")


def written_for_plans(file: str) -> str:
    """Say what a file is for."""
    return say("Written to {file}, for rig plan --history {file}", file=file)


def no_account_name(name: str) -> str:
    """Say what an account can be called."""
    return say(
        "{name} cannot be the name of an account: use up to 32 letters, digits, dots, dashes and "
        "underscores.",
        name=repr(name),
    )


def no_such_account(name: str) -> str:
    """Say that nobody is let in by that name."""
    return say("There is no account {name}.", name=repr(name))


def accounts_unreadable(file: str) -> str:
    """Say that the accounts cannot be read or kept."""
    return say("The accounts in {file} cannot be read or kept.", file=file)


def invited(file: str, name: str) -> str:
    """Say what an invitation is."""
    return say(
        "The invitation is {path}. Whoever has it, or scans this, is let in as {name}: carry it "
        "there as you would a key.",
        path=file,
        name=name,
    )


def withdrawn(name: str) -> str:
    """Say that somebody is let in no more."""
    return say("{name} is let in no more.", name=name)


def nobody_invited() -> str:
    """Say that others can only look by an account."""
    return say(
        "Others than this machine may look at the office's page by an account only: invite "
        "somebody first, rig office invite NAME."
    )


def no_date(text: str) -> str:
    """Say how a date is written."""
    return say("--since {text} is no date; write it as 2026-03-01.", text=text)


def one_question() -> str:
    """Say that either a key or a file is asked."""
    return say("Give a question by its key, or --sql FILE; one of them.")


def redone(jobs: int, model: str) -> str:
    """Say how many jobs were reckoned anew."""
    return say_many(
        "{count} job reckoned anew by model {model}.",
        "{count} jobs reckoned anew by model {model}.",
        jobs, model=model,
    )  # fmt: skip


def not_redone(uids: Sequence[str]) -> str:
    """Name jobs that could not be reckoned."""
    return say("Could not be reckoned: {jobs}.", jobs=join(", ", uids))


def list_of(name: str) -> str:
    """Say what a list of a job is of."""
    told = {"checks": say("Checks of laser and rod"), "pours": say("Pours")}
    return told.get(name, say("Proofs of flatness"))


def in_two_copies() -> str:
    """Say that a job was gone on with in two copies."""
    return say("This job was gone on with in two copies; the longer one is shown.")


def proved(verdict: str) -> str:
    """Say what the last proof of flatness said."""
    told = {"in": say("proved flat"), "out": say("out of tolerance")}
    return told.get(verdict, say("too close to tell"))


def poured() -> str:
    """Say that a job was poured."""
    return say("poured")


def planned() -> str:
    """Say that a job was planned."""
    return say("planned")


def surveyed() -> str:
    """Say that a job was surveyed."""
    return say("surveyed")


def begun() -> str:
    """Say that a job was begun."""
    return say("begun")
