tripsift trial --set chatter.bursts=5 --limit 2
tripsift trial --sweep battery-cluster.window=1d..15d/7d
tripsift trial --set battery-cluster.window=1d --rule battery-cluster --format csv
tripsift trial --set chatter.bursts=1000
