"""What each machine really showed, measured from its capture alone, with what cannot be known said so."""
