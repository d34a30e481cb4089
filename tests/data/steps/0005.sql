-- An order on its way, of which one pack came; a hold of a fixture and one that waits for the order; a
-- bench step that is done.
INSERT INTO purchase (id, supplier_id, state, ordered_on, expected_on, delivery_minor, paid_minor) VALUES (1, 1, 'ordered', '2026-03-02', '2026-03-05', 490, 500);
INSERT INTO purchase_line (id, purchase_id, part_id, offer_id, design_id, packs, pack_amount, price_minor, received_packs) VALUES (1, 1, 3, 2, 1, 3, 10, 250, 1);
INSERT INTO movement (id, at_ms, on_date, kind, who, reason) VALUES (11, 1772500000000, '2026-03-03', 'receive', 'Tomas Reed', 'order 1');
INSERT INTO movement_line (movement_id, part_id, amount, from_id, to_id)
    SELECT 11, 3, 10, 1, id FROM account WHERE place_id = 4;
INSERT INTO purchase_receipt (movement_id, line_id, packs) VALUES (11, 1, 1);
UPDATE design SET state = 'reserved', version = 2 WHERE id = 1;
INSERT INTO hold (design_id, bar_id, thing_id, from_amount, to_amount, from_on, to_on, becomes, made_on, who) VALUES
    (1, 1, 3, 0, 1, '2026-04-01', '2026-04-20', 'returns', '2026-03-03', 'Ines');
INSERT INTO hold (design_id, part_id, from_amount, to_amount, from_on, to_on, becomes, purchase_line_id, made_on, who) VALUES
    (1, 3, 0, 4, '2026-04-01', '9999-12-31', 'consumed', 1, '2026-03-03', 'Ines');
INSERT INTO step (design_id, position, kind, title, bar_id, task, done_by, done_at_ms) VALUES
    (1, 0, 'fetch', 'Fetch from Shelf B', 1, '{"do":"fetch","from":4,"things":[],"counts":[],"pieces":[],"used":[]}', 'Ines', 1772500001000);
