-- People sign in, and a program has a key.
UPDATE person SET role = 'keep' WHERE id = 1;
INSERT INTO api_token (id, digest, name, role, made_by, made_ms, ends_ms) VALUES
    (1, x'000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f', 'stocktake', 'work', 'Ines', 1773000000000, 1783000000000);
INSERT INTO invitation (id, digest, role, made_by, made_ms, ends_ms) VALUES
    (1, x'ff0102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f', 'look', 'Ines', 1773000000000, 1783000000000);
