"""What some modules are inside the jail: no judges, no draws, no widgets. `site` puts each in its
module's place."""
