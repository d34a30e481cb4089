-- A hall of its own, two people, a room with a shelf and a box on it.
UPDATE venue SET name = 'Wharf Street Hall', zone = 'Europe/London', slots_taken = '1-96', spare_percent = 5;
INSERT INTO person (id, name) VALUES (1, 'Ines'), (2, 'Tomas Reed');
INSERT INTO place (id, parent_id, name, kind, position) VALUES
    (1, NULL, 'Store room', 'room', 0), (2, 1, 'Shelf A', 'shelf', 1), (3, 2, 'Box 3', 'box', 1);
INSERT INTO press (key, request, answer, at_ms) VALUES ('kept-0001', 'digest', '1', 1772000000000);
