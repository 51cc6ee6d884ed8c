"""How far a study's figures move with the choices that they rest on."""
