"""An invented reed cutters' cooperative, whose site was there before Pinpool came into it."""
