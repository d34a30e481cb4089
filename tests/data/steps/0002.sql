-- Parts that are kept by length, by the piece and by count, one of them ready-made; who sells them.
INSERT INTO part (id, name, kind, stock_by, code, spec, typical, ready_made, words) VALUES
    (1, 'Arch tape', 'tape', 'length', 'A-1', '{"kind":"tape","voltage_mv":24000,"width_um":10000,"channels":[{"channel":"red","power_mw_per_m":4000},{"channel":"white","power_mw_per_m":5000}],"pitch":{"units":1,"um":50000},"rolls_um":[5000000]}', 0, NULL, 'arch tape'),
    (2, 'Two-channel driver', 'driver', 'unit', '', '{"kind":"driver","outputs":1,"channels_per_output":2,"voltage_min_mv":12000,"voltage_max_mv":24000,"inlets":[{"outputs":[1]}],"isolation":"unknown","slots":2,"address_by":"menu"}', 1, NULL, 'two-channel driver'),
    (3, 'Profile clip', 'sundry', 'count', '', '{"kind":"sundry","measure":"each","use_rate":{"per":"metre","thousandths":2000}}', 1, 'profile-clip', 'profile clip'),
    (4, 'Old screw', 'sundry', 'count', '', '{"kind":"sundry","measure":"each"}', 0, NULL, 'old screw');
UPDATE part SET retired = 1, version = 2 WHERE id = 4;
INSERT INTO supplier (id, name, delivery_days, delivery_minor, free_above_minor) VALUES (1, 'Harbour Wire Co', 3, 490, 5000);
INSERT INTO offer (id, part_id, supplier_id, pack_amount, price_minor) VALUES (1, 1, 1, 5000000, 4200), (2, 3, 1, 10, 250);
