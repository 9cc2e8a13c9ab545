tripsift visit 5176
# A hold-up button's serial and name are kept back, on paper and page; the count is 0.
(tripsift visit 2244; tripsift visit 2244 --format html) | grep -ciE '00499-?8698|hold-?up|panic|duress'
