"""The steps from one version of the tables to the next; run by :mod:`leastcut.shop.opening`."""
