"""Stand-ins inside the jail: no judges, draws or widgets; `site` puts each in its place."""
