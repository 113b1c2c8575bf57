"""The weekly digest and the urgent mail: who gets what when."""
