-- Labels lead to this address.
UPDATE venue SET label_base = 'http://hall.example/', version = version + 1;
