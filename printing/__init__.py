"""From a drawing to pages for a home printer."""
