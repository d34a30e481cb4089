-- A sheet was printed.
INSERT INTO print (id, design_id, sheet, mark, first_ms) VALUES (1, 1, 'cuts', 'a1b2c3', 1773200000000);
