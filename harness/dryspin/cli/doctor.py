"""`dryspin doctor`: whether this machine can do the job, and what to install if not."""

import json

import click


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def doctor(as_json: bool) -> int:
    """Find out whether this machine can do the job.

    Looks at system, Python, dependencies, compiler, C library and build cache, then runs 10 ms of
    a tiny firmware on the rig and compares its current with the closed form. Each line that fails
    says what to install or do.

    Exits with 0 if all is well, with 2 if something is missing.
    """
    from dryspin.cli.machine import OK, examine

    looks = examine()
    usable = all(look.status == OK for look in looks)
    if as_json:
        checks = [
            {"name": look.name, "status": look.status, "text": look.text, "remedy": look.remedy}
            for look in looks
        ]
        click.echo(json.dumps({"schema": 1, "usable": usable, "checks": checks}, indent=2))
    else:
        width = max(len(look.name) for look in looks)
        lines = []
        for look in looks:
            lines.append(f"{look.status:9}  {look.name:{width}}  {look.text}")
            if look.remedy:
                lines.append(f"{'':9}  {'':{width}}  -> {look.remedy}")
        try:
            from dryspin.cli.output import print_lines
        except ImportError:
            # Without rich: the line that says so matters more than its colour.
            click.echo("\n".join(lines))
        else:
            print_lines(lines)
    return 0 if usable else 2
