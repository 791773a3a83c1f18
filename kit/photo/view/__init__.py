"""From a picture file to the card's window seen from above in even light."""
