-- An order that is written down, with a line that two sets need and one for the cupboard.
INSERT INTO purchase (id, supplier_id, delivery_minor) VALUES (2, 1, 490);
INSERT INTO purchase_line (id, purchase_id, part_id, offer_id, packs, pack_amount, price_minor) VALUES
    (2, 2, 3, 2, 2, 10, 270), (3, 2, 1, 1, 1, 5000000, 4200);
INSERT INTO purchase_share (line_id, design_id, amount) VALUES (2, 1, 12), (2, 2, 4);
