"""How bytes reach an instrument: serial lines, sockets, VISA; one owner for each port."""
